"""Small files as an earlier run of the program would have left them, sealed."""

import io
import json
import zipfile

from binestimator.seal import COMMENTS, FORM, RESULTS, UNSEALED, seal_text, seal_workbook


def workbook(word="earlier", kind=RESULTS, sealed=True):
    """A zip folder with the properties of a workbook of ours, and a word in it."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in (
            ("xl/word.xml", word),
            ("docProps/core.xml", f"<description>{COMMENTS[kind]}1</description>"),
        ):
            archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), text)
    return seal_workbook(buffer.getvalue(), kind) if sealed else buffer.getvalue()


def results_file(word="earlier", sealed=True):
    """A results file with a word in it."""
    data = {"program": "binestimator", "word": word} | ({"checksum": UNSEALED} if sealed else {})
    text = json.dumps(data, indent=1) + "\n"
    return seal_text(text) if sealed else text.encode()


def handover(word="earlier", sealed=True):
    """A hand-over with a word in it."""
    text = f"binestimator hand-over\n{word}\n" + (f"Checksum {UNSEALED}\n" if sealed else "")
    return seal_text(text) if sealed else text.encode()


def table(word="earlier"):
    """A table of bins."""
    return seal_text(f"bin_low_f,word,checksum\n1,{word},{UNSEALED}\n2,,\n")


def leave(folder, stem, word="earlier", **options):
    """Workbook and results file of a run in a folder; their contents by name."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{stem}.xlsx").write_bytes(workbook(word, **options))
    (folder / f"{stem}.json").write_bytes(results_file(word, **options))
    return contents(folder)


def leave_run(folder, stem, word="earlier", **options):
    """All files of a run in a folder; their contents by name."""
    leave(folder, stem, word, **options)
    (folder / f"{stem}_handover.txt").write_bytes(handover(word, **options))
    return contents(folder)


def contents(folder):
    """Content of every file in a folder by name, hidden ones among them."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


__all__ = ["FORM", "RESULTS", "contents", "handover", "leave", "leave_run", "results_file", "table", "workbook"]
