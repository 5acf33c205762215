"""One page of a PDF as a grey picture, drawn in a process of its own that can be stopped.

Run as a script: PDF on standard input, page number as the argument. It answers with a line
of JSON (`pages`, `width`, `height`, or `problem`) and then the page's bytes, one a pixel. Memory,
processor time and files are limited before the document is opened. The renderer draws what is
on the page and nothing else: no form environment is set up, so no script in it can run.
"""

from __future__ import annotations

import json
import resource
import sys

LONG_SIDE = 3500  # pixels, about 300 to the inch on A4
MOST_PER_POINT = 300 / 72
MEMORY = 500 * 1024 * 1024
SECONDS = 10


def limit() -> None:
    for what, most in ((resource.RLIMIT_AS, MEMORY), (resource.RLIMIT_CPU, SECONDS), (resource.RLIMIT_FSIZE, 0)):
        resource.setrlimit(what, (most, most))


def main() -> None:
    content = sys.stdin.buffer.read()
    limit()
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(content)
        pages = len(document)
        number = int(sys.argv[1])
        if not 1 <= number <= pages:
            answer({"problem": "no page", "pages": pages})
            return
        page = document[number - 1]
        longest = max(page.get_size())
        scale = min(MOST_PER_POINT, LONG_SIDE / max(longest, 1.0))
        bitmap = page.render(scale=scale, grayscale=True, may_draw_forms=False)
        picture = bitmap.to_pil().convert("L")
    except pypdfium2.PdfiumError as error:
        answer({"problem": "password" if "password" in str(error).lower() else "unreadable"})
        return
    except MemoryError:
        answer({"problem": "too much"})
        return
    answer({"pages": pages, "width": picture.width, "height": picture.height})
    sys.stdout.buffer.write(picture.tobytes())


def answer(found: dict[str, object]) -> None:
    sys.stdout.buffer.write(json.dumps(found).encode() + b"\n")


if __name__ == "__main__":
    main()
