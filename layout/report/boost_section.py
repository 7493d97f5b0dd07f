"""What reflectors bring: the report's sentences, tables and pictures on boosted layouts."""

from dataclasses import dataclass

from layout.report.boost_rows import (
    BOOST_NOTE,
    LEDGER_NOTE,
    Rows,
    Share,
    boost_rows,
    ledger_rows,
    light_shares,
)
from layout.report.figures_boost import gain_figure
from layout.report.figures_style import embedded
from layout.report.sentences_boost import boost_sentences, boosted
from layout.report.sheet_rows import sheet_notes, sheet_rows
from layout.result import PlanResult

CAPTION = (
    "AC power with the reflectors less that without them, W per m² of reflector, mean of each month's hours; each "
    "layout has its own scale. Orange: they bring energy; purple: they cost energy. "
)
ADJUSTED_CAPTION = (
    "At the right the same reflectors, set by hand each month to the angle that is best then; the angle stands "
    "under the month."
)


@dataclass(frozen=True)
class BoostSection:
    """sentences, table, ledger, sheets : in words, a table without rows where there is nothing to tell
    shares : name and shares of the light on a layout's reflectors; keys : share's key and label; image : empty where no
    layout has reflectors"""

    sentences: tuple[str, ...]
    table: Rows
    table_note: str
    ledger: Rows
    ledger_note: str
    shares: tuple[tuple[str, tuple[Share, ...]], ...]
    keys: tuple[tuple[str, str], ...]
    image: str
    caption: str
    sheets: Rows
    sheet_notes: tuple[str, ...]


def boost_section(result: PlanResult) -> BoostSection | None:
    """Everything the section shows; None where no layout has reflectors or see-through sheets."""
    layouts, found = result.layouts, boosted(result.layouts)
    if not found:
        return None
    shares = tuple((name, light_shares(boost.ledger)) for name, (_, boost) in found.items())
    shares = tuple((name, parts) for name, parts in shares if parts)
    any_reflector = any(r.reflector_area_m2 for r, _ in found.values())
    image = embedded(gain_figure(layouts, result.plan.site.location.time_zone)) if any_reflector else ""
    adjusted = any(boost.adjusted for _, boost in found.values())
    return BoostSection(
        sentences=boost_sentences(layouts),
        table=boost_rows(layouts),
        table_note=BOOST_NOTE,
        ledger=ledger_rows(layouts),
        ledger_note=LEDGER_NOTE,
        shares=shares,
        keys=tuple((share.key, share.label) for share in shares[0][1]) if shares else (),
        image=image,
        caption=CAPTION + (ADJUSTED_CAPTION if adjusted else ""),
        sheets=sheet_rows(layouts),
        sheet_notes=sheet_notes(layouts),
    )
