"""What may not stand beside the others is hollow and grey in the figure, and the caption says why."""

from dataclasses import replace

from core.bench import Bench
from core.compare import compare
from core.figure.told import caption_text, panels, warnings
from core.sheet.html_sheet import page


def mixed(make_bench: object) -> Bench:
    made = make_bench(3, 2)  # type: ignore[operator]
    large = replace(make_bench(1, 2, names=("large",), side=96), title="")  # type: ignore[operator]
    return made.with_scans(large.scans)


def test_the_odd_specimen_is_greyed_and_the_others_are_ranked_without_it(make_bench: object) -> None:
    whole, without = compare(mixed(make_bench)), compare(make_bench(3, 2))  # type: ignore[operator]
    aside = [place for place in whole.standing if not place.comparable]
    assert [place.specimen for place in aside] == ["large"]
    assert (aside[0].tie, aside[0].probability_best) == (None, None)
    assert aside[0].not_comparable_with == ("carrier 1", "carrier 2", "carrier 3")
    kept = [(place.specimen, place.tie, place.probability_best) for place in whole.standing if place.comparable]
    assert kept == [(place.specimen, place.tie, place.probability_best) for place in without.standing]


def test_figure_and_sheet_say_so(make_bench: object) -> None:
    made = compare(mixed(make_bench))
    shown = panels(made)
    assert [panel.name for panel in shown if panel.aside] == ["large"]
    assert "Hollow rank, grey numbers: not comparable, set aside." in caption_text(made, shown, bars_written=True)
    assert warnings(made).startswith("Not comparable: large with the others (")
    html = page(made)
    assert html.count('<tr class="aside">') == 1
    assert "not comparable with carrier 1, carrier 2 and carrier 3" in html
    assert "Not recorded for all scans, so not judged: " in html
