"""A formula of all lines gives what the formula of a line gives line by line."""

import numpy as np
import pytest
from hypothesis import strategies as st
from laws import law

from binestimator.workbook.live import all_lines
from binestimator.workbook.live.all_lines import of_all_lines, written_out
from binestimator.workbook.live.formulas import OWN, SOURCE, Scope

TEMPLATES = (
    "MIN({a},{b})",
    "MAX({a},{b},{c.low})",
    "MEDIAN({c.low},{a}-{b},{c.high})",
    "MEDIAN(0,MIN({a},{b}),1)",
    "IF(AND({a}>0,{b}>{c.low}),MAX({a}*{b},0),MIN({a},-1))",
    "IF(OR({a}<{b},{a}>{c.high},{b}=0),1,2)-ABS({a})",
    "SQRT(MAX(MIN({a},{c.high})+EXP({b}/10),0))",
    "({a}>0)*ROUNDUP(MAX({b},{a}),0)",
)


def _scope(a, b):
    scope = Scope()
    scope.put("a", "A" + OWN, np.array(a, dtype=float)[:, None])
    scope.put("b", "B" + OWN, np.array(b, dtype=float)[:, None])
    scope.put("c.low", "$C$1", -2.0)
    scope.put("c.high", "$D$1", 3.0)
    return scope


@pytest.mark.crosscheck
@law(25, 200, pairs=st.lists(st.tuples(st.integers(-6, 6), st.integers(-6, 6)), min_size=1, max_size=8))
def test_written_out_gives_the_same(pairs):
    scope = _scope(*zip(*pairs))
    for template in TEMPLATES:
        written = written_out(template)
        assert written is not None
        assert not any(f"{name}(" in written for name in ("MIN", "MAX", "MEDIAN", "AND", "OR"))
        assert np.array_equal(scope.evaluate(written), scope.evaluate(template)), template


def test_rows_become_columns_and_blocks():
    own, source = (35, 216), (40, 221)
    assert of_all_lines(f"A{OWN}*$C$1+Loads!B{SOURCE}", own, source, 1) == "A35:A216*$C$1+Loads!B40:B221"
    assert of_all_lines(f"D{OWN}:F{OWN}*A{OWN}", own, source, 3) == "D35:F216*A35:A216"
    assert of_all_lines(f"MIN(A{OWN},B{OWN})", own, source, 1) == "IF(A35:A216<B35:B216,A35:A216,B35:B216)"
    assert (
        of_all_lines(f"SUMPRODUCT(Zones!$D$6:$F$6,D{OWN}:F{OWN})/1000", own, source, 1)
        == "MMULT(D35:F216,TRANSPOSE(Zones!$D$6:$F$6))/1000"
    )
    assert of_all_lines(f"MMULT(D{OWN}:F{OWN}*2,$G$1:$I$3)", own, source, 3) == "MMULT(D35:F216*2,$G$1:$I$3)"


@pytest.mark.parametrize(
    "text",
    [
        f"MIN(D{OWN}:F{OWN})",
        f"MAX(IF(D{OWN}:F{OWN}>0,D{OWN}:F{OWN},0))",
        f"SUM(D{OWN}:F{OWN})",
        f"SUMPRODUCT(A{OWN}:C{OWN},D{OWN}:F{OWN})",
        f"MMULT($D$1:$F$1,(TRANSPOSE(D{OWN}:F{OWN})>=D{OWN}:F{OWN})+0)",
        f"INDEX(Rows!$C$7:$C$246,A{OWN})",
        f"LOOKUP(A{OWN},$D$1:$F$1,$D$2:$F$2)",
        f"MEDIAN(A{OWN},B{OWN},C{OWN})",
        f"MEDIAN(0,A{OWN},B{OWN})",
        f"MEDIAN(0,A{OWN},1+$C$1)",
        f"D{OWN}:F{OWN}*2",
    ],
)
def test_what_takes_a_row_stays_line_by_line(text):
    assert of_all_lines(text, (35, 216), (35, 216), 1) is None


def test_what_nobody_could_read_stays_line_by_line(monkeypatch):
    text = "MAX(" + "+".join(f"A{OWN}*{k}" for k in range(40)) + ",0)"
    assert len(of_all_lines(text, (1, 9), (1, 9), 1)) < all_lines.LONGEST
    assert of_all_lines(f"MAX({text},$C$1)", (1, 9), (1, 9), 1) is None
