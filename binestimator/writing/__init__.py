"""Files are written all or none, and nobody's work is overwritten.

All files of a run are first made whole under hidden names beside their places. Then, one run at
a time in a folder and with interruptions held back for these milliseconds, they take their names; if one
cannot, those before it are put back from what was set aside.

A file that already has a name is replaced when it is, byte for byte, what the program wrote (see
:mod:`binestimator.seal`): it can be made again. Anything else may hold somebody's work:

- a workbook or results file of the program that was changed, or has no seal yet (earlier versions), is kept under
  another name if the caller allows that, and refused if not;
- any other file, and one that is write-protected, is refused unless the caller insists;
- a file that was read in this run is refused always.

A symbolic link stays: the file it leads to is replaced. Permissions, and the owner where that is allowed, are
those of the file that is replaced. Of hard links only the name written to gets the new file; other names keep the old
one.

``files`` what is to be written and how · ``places`` what is there · ``moves`` one file on its way ·
``undisturbed`` one run at a time · ``together`` all or none · ``refusals`` messages.
"""

from binestimator.writing.files import Manners, NewFile
from binestimator.writing.moves import HIDDEN_PREFIX
from binestimator.writing.places import check_places, same_file, signature
from binestimator.writing.refusals import remedy
from binestimator.writing.together import write_files

__all__ = [
    "HIDDEN_PREFIX",
    "Manners",
    "NewFile",
    "check_places",
    "remedy",
    "same_file",
    "signature",
    "write_files",
]
