"""Claims as text: what is understood, what is refused and where, and the way back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.errors import ClaimError
from core.fitness.claims import Aperture, Claim, Limit, parse
from core.fitness.claims.claim import AREAL, FLATNESS, PROFILE
from core.fitness.claims.grades import GAUGE_GRADES, ROUGHNESS, default_cutoffs, gauge_flatness

UNDERSTOOD = {
    "PV <= lambda/20 @ 632.8nm over 25mm": ("PV <= lambda/20 @ 632.8nm over 25mm", 31.64e-9),
    "PV≤λ/20@632.8 nm over 25 mm": ("PV <= lambda/20 @ 632.8nm over 25mm", 31.64e-9),
    "p-v < wave / 10 at 546.1nm": ("PV <= lambda/10 @ 546.1nm", 54.61e-9),
    "PV <= lambda/10 wavefront @ 632.8nm over Ø25mm": ("PV <= lambda/10 @ 632.8nm over Ø25mm wavefront", 31.64e-9),
    "PV <= lambda/10 surface @ 632.8nm": ("PV <= lambda/10 @ 632.8nm", 63.28e-9),
    "PV <= 1 fringe @ 632.8nm": ("PV <= 1 fringes @ 632.8nm", 316.4e-9),
    "irregularity <= 1/4 lambda @ 632.8nm over 25mmx20mm": (
        "PV <= 0.25 lambda @ 632.8nm over 25mm x 20mm power removed",
        158.2e-9,
    ),
    "RMS <= 6nm over 25mm, bow removed": ("RMS <= 6nm over 25mm bow removed", 6e-9),
    "flatness <= 0,05um over 30mm x 9mm": ("MZ <= 50nm over 30mm x 9mm", 50e-9),
    "Sq <= 0.5nm in 60nm..2um": ("Sq <= 0.5nm in 60nm..2um", 0.5e-9),
    "Sq <= 0,5 nm, in 60 nm – 2 µm": ("Sq <= 0.5nm in 60nm..2um", 0.5e-9),
    "Sa <= 5 Å in ..2um": ("Sa <= 0.5nm in ..2um", 0.5e-9),
    "Ra <= 0.025um": ("Ra <= 25nm", 25e-9),
    "Ra <= 0.1um cut-off 0.25mm": ("Ra <= 100nm in ..250um", 0.1e-6),
    "N3": ("ISO 1302 N3", 0.1e-6),
    "iso 1302 n12": ("ISO 1302 N12", 50e-6),
    "ISO 3650 grade K 10 mm": ("ISO 3650 grade K 10mm", 50e-9),
    "ISO 3650 2 750mm": ("ISO 3650 grade 2 750mm", 250e-9),
}


@pytest.mark.parametrize("text", UNDERSTOOD)
def test_understood(text: str) -> None:
    canonical, limit = UNDERSTOOD[text]
    claim = parse(text)
    assert claim.text == canonical
    assert claim.limit == pytest.approx(limit, rel=1e-12)
    assert parse(claim.text) == claim


REFUSED = {
    "": "sign 1",
    "Sdq <= 1": "sign 1",
    "PV": "sign 3",
    "PV >= 5nm": "sign 4",
    "PV = 5nm": "sign 4",
    "PV <= 5": "sign 8",
    "PV <= fine": "sign 7",
    "PV <= lambda/0 @ 632.8nm": "sign 14",
    "PV <= 5nm @ 632.8": "sign 13",
    "PV <= 5nm over": "sign 15",
    "PV <= 5nm sometimes": "sign 11",
    "PV <= 5nm power": "sign 16",
    "PV <= 5nm in 60nm..2um": "not of a band",
    "PV <= 0nm": "sign 7",
    "Sq <= 0.5nm over 3mm": "is texture",
    "Sq <= 0.5nm in 2um..60nm": "band is empty",
    "Sq <= 0.5nm in ..": "needs a wavelength",
    "Sq <= 0.5nm in 60nm..2um in 60nm..2um": "sign 26",
    "N13": "no such roughness grade",
    "N3 over 25mm": "sign 4",
    "ISO 3650 grade 7 10mm": "sign 16",
    "ISO 3650 grade K 2 m": "sign 18",
    "PV <= " + "9" * 500: "too long",
}


@pytest.mark.parametrize("text", REFUSED)
def test_refused_and_where(text: str) -> None:
    with pytest.raises(ClaimError, match=REFUSED[text]) as refusal:
        parse(text)
    assert refusal.value.fix


@given(st.text(alphabet="PVSqλ/<=≤ 0123.,nmu@overinN..Øx\u2013wavefront", max_size=40))
def test_any_text_is_a_claim_or_a_refusal(text: str) -> None:
    try:
        assert parse(parse(text).text) == parse(text)
    except ClaimError as error:
        assert error.fix


lengths = st.integers(1, 10**9).flatmap(lambda n: st.sampled_from([-3, -6, -9, -12]).map(lambda e: float(f"{n}e{e}")))
limits = st.one_of(
    st.builds(Limit, lengths),
    st.builds(Limit, st.integers(1, 10_000).map(lambda n: n / 8), st.sampled_from(["lambda", "lambda/", "fringe"])),
)
apertures = st.one_of(
    st.builds(Aperture, lengths, lengths),
    lengths.flatmap(lambda d: st.builds(Aperture, st.just(d), st.just(d), st.just(True))),
)
bands = st.tuples(st.none() | lengths, st.none() | lengths).filter(
    lambda b: b != (None, None) and (b[0] is None or b[1] is None or b[0] < b[1])
)
claims = st.one_of(
    st.builds(
        Claim,
        st.sampled_from(list(FLATNESS)),
        limits,
        wavelength=st.none() | lengths,
        aperture=st.none() | apertures,
        wavefront=st.booleans(),
        removed=st.sampled_from(["", "power", "bow"]),
    ),
    st.builds(
        Claim, st.sampled_from([*AREAL, *PROFILE]), limits, wavelength=st.none() | lengths, band=st.none() | bands
    ),
)


@given(claims)
def test_canonical_text_gives_the_claim_back(claim: Claim) -> None:
    assert parse(claim.text) == claim


def test_fractions_of_a_wave(expected) -> None:  # type: ignore[no-untyped-def]
    for wave, parts in ((632.8, 4), (632.8, 10), (632.8, 20), (546.1, 10), (587.6, 10)):
        limit = parse(f"PV <= lambda/{parts} @ {wave}nm").limit
        assert limit == expected(f"3.06|{wave}/{parts}", unit=1e-9)
    assert parse("PV <= 1 fringe @ 632.8nm").limit == expected(
        "3.06|one fringe in reflection at 632.8 (lambda/2)", unit=1e-9
    )
    assert parse("PV <= 1 fringe @ 546.074nm").limit == expected("3.06|one fringe at 546.074", unit=1e-9)
    assert parse("PV <= lambda/20").limit is None


def test_roughness_grades(expected) -> None:  # type: ignore[no-untyped-def]
    """ISO 1302:1992; the default cut-offs of ISO 4288 and ISO 3274 from memory."""
    for number in range(1, 13):
        assert parse(f"N{number}").limit == expected(f"4.04|N{number}", unit=1e-6)
    assert set(ROUGHNESS) == {f"N{number}" for number in range(1, 13)}
    for ra, cutoff in (
        (0.01, 0.08),
        (0.02, 0.08),
        (0.025, 0.25),
        (0.1, 0.25),
        (0.2, 0.8),
        (2, 0.8),
        (3.2, 2.5),
        (12.5, 8),
    ):
        assert default_cutoffs(ra * 1e-6)[1] == pytest.approx(cutoff * 1e-3)


GAUGES = {
    0.15: (0.05, 0.10, 0.15, 0.25),
    0.5: (0.10, 0.15, 0.18, 0.25),
    1.0: (0.15, 0.18, 0.20, 0.25),
}
"""ISO 3650:1998, 7.2, µm by the end of the length range, m: from memory and a public restatement of ASME B89.1.9."""


def test_gauge_block_grades(expected) -> None:  # type: ignore[no-untyped-def]
    for grade in GAUGE_GRADES:
        assert gauge_flatness(grade, 10e-3) == expected(f"4.01|0.5-150 mm {grade}", unit=1e-6)
    begin = 0.5e-3
    for end, limits in GAUGES.items():
        for grade, limit in zip(GAUGE_GRADES, limits, strict=True):
            for length in (begin, (begin + end) / 2, end):
                assert gauge_flatness(grade, length) == pytest.approx(limit * 1e-6)
        begin = end * 1.001
    assert gauge_flatness("K", 0.4e-3) is None
    assert gauge_flatness("K", 1.1) is None
