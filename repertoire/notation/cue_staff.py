"""Another part of the same music as a small staff above, to be joined in practising.

The passage stands at its usual height with its marks; the other part is plain notes, smaller,
as cues are printed. Both must have the same written bars.
"""

from __future__ import annotations

from dataclasses import replace

from lxml import etree

from repertoire.technique.line import Line, LineError
from repertoire.technique.marks import Marks

from .condensing import prepare
from .engraving import _draw, lay
from .excerpt import MEI, plain_mei
from .joining_staves import join, rename
from .laying import Sheet
from .look import Look
from .picture import Picture

CUE_SCALE = "70%"


def engrave_with_cue(line: Line, marks: Marks, cue: Line, names: tuple[str, str], look: Look) -> Picture:
    """The passage under a small staff of another part; `names` label the cue and the passage.

    Raises LineError when their bars differ.
    """
    if [bar.index for bar in line.bars] != [bar.index for bar in cue.bars]:
        raise LineError("The other part has other bars here, so it can’t stand above the passage.")
    quiet = replace(cue, bars=tuple(replace(bar, tempos=(), rehearsal="", jump="") for bar in cue.bars))
    sheets = []
    warnings: tuple[str, ...] = ()
    for number, (each, its_marks) in enumerate(((quiet, ()), (line, marks)), 1):
        root = etree.fromstring(plain_mei(each))
        if number > 1:
            rename(root, number)
        sheet = Sheet(root, each, look, number)
        warnings += lay(sheet, its_marks)
        sheets.append(sheet)
    join([sheet.root for sheet in sheets], names)
    for short in list(sheets[0].root.iter(MEI + "labelAbbr")):
        short.getparent().remove(short)
    for definition in sheets[0].root.iter(MEI + "staffDef"):
        if definition.get("n") == "1":
            definition.set("scale", CUE_SCALE)
    prepare(sheets[0].root, quiet, replace(look, empty_bars=True), set())
    return _draw(sheets, [(quiet, ()), (line, marks)], look, warnings)
