"""What the words in a part mean: tempo, pizzicato, jumps, headings, the instrument's name.

Printed words are free text in several languages. The lists hold the customary Italian,
German, French and English terms; what isn't recognised stays plain text.
"""

from __future__ import annotations

import re

_TEMPO = re.compile(
    r"\b(adagi(o|etto|ssimo)|agitato|allegr(o|etto|amente|issimo)|andant(e|ino)|animato|grave|larg(o|hetto|amente)"
    r"|lent(o|ement)|maestoso|moderato|prest(o|issimo)|vivac(e|issimo)|viv(o|ement)|mosso|moto|tempo|l['’]istesso"
    r"|accel(\.|erando)?|allarg(\.|ando)?|calando|rall(\.|ent(\.|ando)?)?|rit(\.|ard(\.|ando)?|en(\.|uto)?)?"
    r"|slargando|string(\.|endo)|stretto|rubato|tranquillo|langsam(er)?|mäßig|mässig|bewegt|lebhaft|schnell(er)?"
    r"|rasch|geschwind|ruhig|breit|zögernd|modéré|vite|vif|anim[ée]|cédez|retenu|ritenu|slow(er|ly)?|fast(er)?"
    r"|quick(er|ly)?|lively|minuet(to)?|menuet(to)?|menuett|scherzo|tempo\s+primo|tempo\s+i)(?!\w)",
    re.I,
)
_NOT_TEMPO = re.compile(r"\b(cresc|dim|decresc)", re.I)
_PLUCKED = {
    "pizz": re.compile(r"^\(?pizz(\.|icato)?\)?$", re.I),
    "arco": re.compile(r"^\(?(col(l['’])?\s*)?arco\)?$", re.I),
    "left hand": re.compile(r"^\(?(l\.?\s?h\.?|left hand|m\.?\s?s\.?|mano sinistra)\s+pizz(\.|icato)?\)?$", re.I),
}
_JUMPS = (
    ("dacapo", re.compile(r"\b(d\.?\s?c\.?(?!\w)|da\s+capo)", re.I)),
    ("dalsegno", re.compile(r"\b(d\.?\s?s\.?(?!\w)|dal\s+segno)", re.I)),
    ("tocoda", re.compile(r"\b(to|al(la)?)\s+coda\b", re.I)),
    ("fine", re.compile(r"^\s*fine\s*\.?\s*$", re.I)),
)
_PLAIN_JUMP = re.compile(
    r"^\s*((d\.?\s?c\.?|da\s+capo|d\.?\s?s\.?|dal\s+segno)(\s+al(la)?\s+(fine|coda))?|to\s+coda|fine)\s*\.?\s*$", re.I
)
_HEADING = re.compile(r"^\s*(?:(?:[IVX]{1,5}|\d{1,2})\s*(?:\.|:|$)|(?:no|nr)\.?\s*\d{1,2}\b)\s*(.*)$", re.S | re.I)
_NAMES = (
    (
        "",
        re.compile(
            r"viol(a|e|as)\s+(da|d['’])\s*\w+|violonc|\bcell|bass(?!oon)|violino piccolo|viole\s+de\s+gambe|gamba", re.I
        ),
    ),
    ("viola", re.compile(r"\b(viol(a|as|e|en)|bratschen?|vla\.?|altviool)(?![a-z])|^\s*va\.?\s*\d*\s*$", re.I)),
    (
        "violin",
        re.compile(
            r"\bviol(in|ins|ino|ini|ine|inen|on|ons)(?![a-z])|\bgeigen?\b|\bvln\.?|\bvn\.?(?![a-z])"
            r"|^\s*vl\.?\s*\d*\s*$|\bviool\b|\bfiddle\b",
            re.I,
        ),
    ),
)
_FONT_SIGNS = re.compile("[\ue000-\uf8ff]+")


def is_tempo(words: str) -> bool:
    """True for words that set or bend the tempo: Allegro, rit., a tempo."""
    return bool(_TEMPO.search(words)) and not _NOT_TEMPO.search(words)


def plucking(words: str) -> str:
    """ "pizz", "arco", "left hand", or "" for other words."""
    return next((value for value, pattern in _PLUCKED.items() if pattern.match(words.strip())), "")


def jump(words: str) -> tuple[str, bool]:
    """The jump the words ask for ("" for none), and whether they say nothing else."""
    found = next((name for name, pattern in _JUMPS if pattern.search(words)), "")
    return found, bool(_PLAIN_JUMP.match(words))


def heading(words: str) -> bool:
    """True for words that head a movement: "II.", "3.", "II. Romanze"."""
    return len(words) < 80 and bool(_HEADING.match(words))


def without_font_signs(words: str) -> tuple[str, str]:
    """Words without signs that only a music font can show, and those signs."""
    signs = "".join(_FONT_SIGNS.findall(words))
    return " ".join(_FONT_SIGNS.sub(" ", words).split()), signs


def instrument(names: tuple[str, ...], sounds: tuple[str, ...] = (), midi: int = 0) -> str:
    """ "violin", "viola" or "": from the names of a part, its sound, or its MIDI program (from 1)."""
    for name in names:
        for found, pattern in _NAMES:
            if pattern.search(name):
                return found
    for sound in sounds:
        if sound in ("strings.violin", "strings.viola"):
            return sound.partition(".")[2]
    return {41: "violin", 42: "viola"}.get(midi, "")
