"""A report as PDF on A4, written without any program beside Python."""

from io import BytesIO
from pathlib import Path

import matplotlib as mpl
from fpdf import FPDF
from fpdf.fonts import FontFace

from dashboard.report.blocks import Block, Caution, Picture, Points, Report, Section, Table, Words

_FONT = "DejaVu"
_MARGIN_MM = 18.0
_BODY_PT, _SMALL_PT = 10.0, 8.5
_LINE = 1.35
_PT_MM = 0.3528
_RED, _GREY, _DARK = (179, 38, 30), (90, 100, 112), (28, 36, 48)


class _Pages(FPDF):
    """Pages with the plant's name and the page's number at the foot."""

    def __init__(self, report: Report) -> None:
        super().__init__(format="A4")
        self._foot = report.title
        folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
        for style, file in (("", "DejaVuSans.ttf"), ("B", "DejaVuSans-Bold.ttf")):
            self.add_font(_FONT, style, folder / file)
        self.set_margins(_MARGIN_MM, _MARGIN_MM, _MARGIN_MM)
        self.set_auto_page_break(True, margin=_MARGIN_MM)  # the library's form
        self.set_title(report.title)
        self.set_lang("en")
        self.set_creator("Stokehold")

    def footer(self) -> None:
        """Write the foot of a page."""
        self.set_y(-12.0)
        self.set_font(_FONT, size=8)
        self.set_text_color(*_GREY)
        self.cell(0, 5, f"{self._foot}, page {self.page_no()} of {{nb}}", align="C")


def pdf_document(report: Report) -> bytes:
    """The report as a PDF document."""
    pages = _Pages(report)
    pages.add_page()
    _line(pages, report.title, 18, bold=True)
    _line(pages, f"{report.span}. {report.made}.", _BODY_PT)
    for section in report.sections:
        _section(pages, section)
    return bytes(pages.output())


def _section(pages: _Pages, section: Section) -> None:
    if pages.will_page_break(40.0):
        pages.add_page()
    pages.ln(5)
    pages.start_section(section.title)
    _line(pages, section.title, 13, bold=True)
    for block in section.blocks:
        _block(pages, block)


def _block(pages: _Pages, block: Block) -> None:
    match block:
        case Words():
            _line(pages, block.text, _BODY_PT)
        case Caution():
            _line(pages, f"Caution: {block.text}", _BODY_PT, colour=_RED)
        case Points():
            for row in block.rows:
                _line(pages, f"\N{BULLET} {row}", _BODY_PT)
        case Table():
            _table(pages, block)
        case Picture():
            _picture(pages, block)


def _line(
    pages: _Pages,
    text: str,
    size_pt: float,
    *,
    bold: bool = False,
    colour: tuple[int, int, int] = _DARK,
) -> None:
    pages.set_font(_FONT, "B" if bold else "", size_pt)
    pages.set_text_color(*colour)
    height = size_pt * _PT_MM * _LINE
    pages.multi_cell(0, height, text, align="L", new_x="LMARGIN", new_y="NEXT")
    pages.ln(1.2)


def _table(pages: _Pages, block: Table) -> None:
    pages.set_font(_FONT, size=_SMALL_PT)
    pages.set_text_color(*_DARK)
    pages.set_draw_color(*_GREY)
    with pages.table(
        borders_layout="HORIZONTAL_LINES",
        col_widths=block.shares or None,
        headings_style=FontFace(emphasis="BOLD", fill_color=(232, 237, 243)),
        line_height=_SMALL_PT * _PT_MM * _LINE,
        text_align="LEFT",
        padding=1.0,
    ) as made:
        for cells in (block.head, *block.rows):
            row = made.row()
            for cell in cells:
                row.cell(cell)
    pages.ln(2)


def _picture(pages: _Pages, block: Picture) -> None:
    width = block.width * pages.epw
    if pages.will_page_break(width * 0.5):
        pages.add_page()
    pages.image(BytesIO(block.content), w=width, alt_text=block.words)
    _line(pages, block.words, _SMALL_PT, colour=_GREY)
