"""One drawing of a car at a time into the bytes of a file, as a builder wishes for it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from rollwright.car.model import Car
from rollwright.draw.drawing import Drawing
from rollwright.draw.fit import Units, checked_exaggeration
from rollwright.draw.gauges import GAUGES, gauge
from rollwright.draw.ink import SHADES, Colour
from rollwright.draw.outline import effect, with_cut_width
from rollwright.draw.paper import Page, Paper
from rollwright.draw.printer import Factors, factors
from rollwright.draw.sheet_identity import Identity, content_hash
from rollwright.draw.views import VIEWS, view_named
from rollwright.errors import InputError, OutOfRange, UnreadableQuantity, echo
from rollwright.geometry.spread import spread_of
from rollwright.geometry.stance import Stance, stance
from rollwright.units import Kind, parse

__all__ = ["FORMS", "PAPERS", "SHEET", "DrawnFile", "Making", "Wishes"]

FORMS = ("svg", "dxf", "pdf", "png")
"""What a drawing can be written as."""

PAPERS = ("a4", "letter")
"""What it can be printed on."""

SHEET = "sheet"
"""By what name the set-up sheet is asked for."""

_PIXELS = 200.0
"""Pixels of a PNG for each inch of the drawing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """How drawings are wished for, as a builder writes it.

    Attributes:
        form: `svg`, `dxf`, `pdf` or `png`; None: PDF for what is printed in true size, SVG for views.
        paper: `a4` or `letter`.
        cut_width: full width of the cut, such as `0.15 mm`; None: none is allowed for.
        printer: the scale box as it came out of the printer, across and up, such as `99.2 mm` and `49.7 mm`;
            None: the printer prints true.
        revision: which state of the car; empty: left blank.
        day: the day on the drawing as `YYYY-MM-DD`; empty: left blank.
        id: what the car is called for short; empty: its name stands for it in the code.
        exaggeration: how much larger than life angles are drawn in views; None chooses.
        units: what numbers are written in.
    """

    form: str | None = None
    paper: str = "a4"
    cut_width: str | None = None
    printer: tuple[str, str] | None = None
    revision: str = ""
    day: str = ""
    id: str = ""
    exaggeration: float | None = None
    units: Units = "mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnFile:
    """A file that was written.

    Attributes:
        what: which drawing.
        path: where it is.
        form: what it was written as.
        size: how many bytes it has.
        pages: how many pages it has; 1 for what is no PDF.
        digest: short hash of what is drawn, as it stands on it.
        true_size: whether it brings the scale box.
        notes: what the reader has to know.
        cautions: the usual cautions for the work.
    """

    what: str
    path: Path
    form: str
    size: int
    pages: int
    digest: str
    true_size: bool
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


class Making:
    """Drawings in the making.

    Args:
        car: the car.
        wishes: how they are to be drawn.

    Raises:
        InputError: a wish cannot be read or followed by any drawing.
    """

    def __init__(self, *, car: Car, wishes: Wishes) -> None:
        self.car, self.wishes = car, wishes
        for word, known, key in ((wishes.form, (None, *FORMS), "--as"), (wishes.paper, PAPERS, "--paper")):
            if word not in known:
                choices = ", ".join(filter(None, known))
                raise OutOfRange(f"{echo(word)} is not possible", mend=f"choose from {choices}", key=key)
        self.paper = Paper.A4 if wishes.paper == "a4" else Paper.LETTER
        self.day = _day(wishes.day)
        with _keyed("--id"):
            Identity(id=wishes.id)
        with _keyed("--revision"):
            self.identity = Identity(id=wishes.id, revision=wishes.revision, day=self.day)
        with _keyed("--cut-width"):
            self.cut = 0.0 if wishes.cut_width is None else 1e3 * parse(wishes.cut_width, kind=Kind.LENGTH)
            self.cut_words = effect(cut_width=self.cut)
        self.factors = _factors(wishes.printer)
        with _keyed("--exaggeration"):
            checked_exaggeration(1.0 if wishes.exaggeration is None else wishes.exaggeration)
        self._found: Stance | None = None

    def check(self, names: Sequence[str]) -> None:
        """Refuse wishes that nothing of what is drawn could follow.

        Args:
            names: what is drawn.

        Raises:
            OutOfRange: a sheet for a cutter, a cut's width where nothing is cut, or a printer without paper.
        """
        forms = {self._form(name) for name in names}
        if self.wishes.form == "dxf" and SHEET in names:
            raise OutOfRange(
                "the set-up sheet is for reading, not for cutting",
                mend="write it as pdf, svg or png",
                key="--as",
            )
        if self.cut and not any(name in GAUGES for name in names):
            raise OutOfRange("nothing of this is cut", mend="leave the cut's width out", key="--cut-width")
        if self.factors is not None and "pdf" not in forms:
            raise OutOfRange(
                "only a PDF is put right for a printer",
                mend='leave it out, or add "--as pdf"',
                key="--printer",
            )

    def _form(self, name: str) -> str:
        return self.wishes.form or ("svg" if name in VIEWS else "pdf")

    @property
    def _standing(self) -> Stance:
        if self._found is None:
            self._found = stance(self.car)
        return self._found

    @property
    def _known(self) -> dict[str, float]:
        return {name: part.uncertainty for name, part in spread_of(self.car, self._standing).items()}

    def file(self, name: str) -> tuple[DrawnFile, bytes]:
        """Return one drawing as a file.

        Args:
            name: which.

        Returns:
            The file's description, its path being only the last part of its name, and its bytes.

        Raises:
            InputError: it makes no sense for this car, or holds what the file cannot.
        """
        form = self._form(name)
        drawing = self._drawing(name)
        pages: tuple[Page, ...] = ()
        if form == "pdf":
            pages = self._pages(name, drawing)
            data = self._pdf(pages, drawing)
        else:
            data = self._plain(name, drawing, form)
        return DrawnFile(
            what=name,
            path=Path(f"{drawing.name}.{form}"),
            form=form,
            size=len(data),
            pages=max(1, len(pages)),
            digest=content_hash(drawing),
            true_size=name not in VIEWS,
            notes=drawing.notes,
            cautions=drawing.cautions,
        ), data

    def _drawing(self, name: str) -> Drawing:
        from rollwright.draw.sheet import setup_sheet  # noqa: PLC0415 - only one of many is a sheet

        wishes = self.wishes
        if name == SHEET:
            return setup_sheet(
                self.car,
                paper=self.paper,
                identity=self.identity,
                units=wishes.units,
                stance=self._standing,
                exaggeration=wishes.exaggeration,
                uncertainties=self._known,
                factors=self.factors,
            )
        if name in VIEWS:
            return view_named(
                name,
                self.car,
                stance=self._standing,
                exaggeration=wishes.exaggeration,
                units=wishes.units,
                uncertainties=self._known,
            )
        found = with_cut_width(gauge(name, self.car, units=wishes.units), cut_width=self.cut)
        if not self.cut:
            return found
        return replace(found, notes=(self.cut_words, *found.notes))

    def _pages(self, name: str, drawing: Drawing) -> tuple[Page, ...]:
        from rollwright.draw.sheet import sheet_page  # noqa: PLC0415 - see drawing
        from rollwright.draw.sheet_plate import gauge_pages, view_page  # noqa: PLC0415 - only for paper

        if name == SHEET:
            return (sheet_page(drawing, paper=self.paper),)
        if name in VIEWS:
            return (view_page(drawing, paper=self.paper, identity=self.identity),)
        return gauge_pages(drawing, paper=self.paper, identity=self.identity, factors=self.factors)

    def _pdf(self, pages: tuple[Page, ...], drawing: Drawing) -> bytes:
        from rollwright.draw.pdf import pdf_bytes  # noqa: PLC0415 - only for paper

        return pdf_bytes(pages, title=drawing.title, factors=self.factors, created=self.day)

    def _plain(self, name: str, drawing: Drawing, form: str) -> bytes:
        """Return what is no PDF; a gauge comes with title, scale box and notes round it."""
        from rollwright.draw.sheet_plate import file_plate, framed  # noqa: PLC0415 - not for views

        shown = drawing if name in VIEWS else framed(drawing)
        if name in GAUGES:
            shown = file_plate(drawing, identity=self.identity)
        if form == "dxf":
            from rollwright.draw.dxf import dxf_text  # noqa: PLC0415 - takes most of a second to load

            return dxf_text(shown).encode("utf-8")
        from rollwright.draw.svg import svg_text  # noqa: PLC0415 - only for pictures

        if form == "svg":
            return svg_text(shown, screen=name in VIEWS).encode("utf-8")
        return _png(svg_text(shown, screen=True))


def _png(svg: str) -> bytes:
    """Return a drawing's SVG as a PNG in its light colours, as many pixels to the inch as print well."""
    import resvg_py  # noqa: PLC0415 - rarely asked

    # Without its style the drawing has the light colours that it brings along.
    return resvg_py.svg_to_bytes(
        svg_string=re.sub(r"<style>.*?</style>", "", svg, flags=re.DOTALL),
        dpi=_PIXELS,
        background=SHADES[Colour.GROUND].light,
        font_family="DejaVu Sans",
        sans_serif_family="DejaVu Sans",
    )


def _day(written: str) -> date | None:
    if not written:
        return None
    # Other spellings that Python would read are left for people to write alike.
    plain = written if re.fullmatch(r"\d{4}-\d{2}-\d{2}", written) else ""
    try:
        return date.fromisoformat(plain)
    except ValueError:
        raise UnreadableQuantity(
            f"{echo(written)} is no day",
            mend="write it as year, month, day, such as 2026-03-07",
            key="--date",
        ) from None


def _factors(printer: tuple[str, str] | None) -> Factors | None:
    if printer is None:
        return None
    with _keyed("--printer"):
        across, up = (parse(written, kind=Kind.LENGTH) for written in printer)
        return factors(across=across, up=up)


@contextmanager
def _keyed(key: str) -> Iterator[None]:
    """Name the option in whatever is refused inside."""
    try:
        yield
    except InputError as error:
        raise error.at(key=key) from None
