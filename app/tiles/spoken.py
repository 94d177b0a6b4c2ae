"""What a tile shows, in words: for screen readers and for the help that appears under the mouse."""

from __future__ import annotations

from app.tiles.colourbar import end_text
from app.tiles.footer import clipped_text
from app.tiles.state import Range, TileState
from core.display import Level
from core.heightmap import HeightMap


def name(state: TileState) -> str:
    """The tile in a few words."""
    rank = f", rank {state.rank}" if state.rank is not None else ""
    return f"{state.title}{rank}"


def description(
    state: TileState,
    limits: Range,
    shares: tuple[float, float] | None,
    shown: Level | None,
    *,
    shared: bool,
    with_title: bool = False,
) -> str:
    """All that the tile tells, a sentence for each part."""
    parts = [state.title if with_title else "", state.subtitle]
    if state.status == "refused":
        parts += ["Refused", state.message, state.fix]
    elif state.scan is None:
        parts += [state.message or "Being read"]
    else:
        low, high = limits
        span = high - low
        kind = "Shared scale" if shared else "Own scale, not comparable with the others by colour"
        parts += [state.reading, state.detail, f"{kind}: {end_text(low, span)} to {end_text(high, span)} nm"]
        parts += [clipped_text(shares), peaks(state.scan, shown)]
        parts += ["Out of date, being worked out anew"] if state.status == "stale" else []
    parts += [text for text, _ in state.chips]
    return ".\n".join(part.rstrip(".") for part in parts if part)


def peaks(scan: HeightMap | None, shown: Level | None) -> str:
    """How the picture was reduced."""
    if scan is None or shown is None:
        return ""
    behind = scan.shape[0] / shown.grid[0] * scan.shape[1] / shown.grid[1]
    if behind <= 1:
        return "The picture shows every point"
    kept = f"; {shown.kept} points that stand out by more than 6 σ are shown as they are" if shown.kept else ""
    return f"Each pixel of the picture is the mean of {behind:.3g} points{kept}"
