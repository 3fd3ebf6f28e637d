"""A linear program, with whole numbers where asked, solved by HiGHS (Huangfu and Hall, 2018)."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Answer:
    """The best values found, and what no values can beat; `is_possible` is False when none are."""

    values: Array
    bound: float
    is_possible: bool


class LinearProgram:
    """Minimise costs @ x over rows of bounds. One thread: the same program has the same answer."""

    def __init__(self) -> None:
        # 0.1 s and some memory: only where a bound is asked for. The class under the public one,
        # which prints a banner whenever it is made.
        from highspy import _core

        self._kit: Any = _core
        self._solver: Any = _core._Highs()
        self._solver.setOptionValue("output_flag", False)
        self._solver.setOptionValue("threads", 1)
        self._columns = 0
        self._whole: list[int] = []

    def add_column(self, cost: float, most: float, is_whole: bool = False) -> int:
        """A variable from 0 to `most`; returns its number."""
        self._solver.addCol(cost, 0.0, most, 0, np.array([], dtype=np.int32), np.array([]))
        if is_whole:
            self._whole.append(self._columns)
        self._columns += 1
        return self._columns - 1

    def add_row(
        self, values: Mapping[int, float], at_most: float, at_least: float = -np.inf
    ) -> None:
        """Add at_least <= sum of values[column] * x[column] <= at_most."""
        columns = np.array(list(values), dtype=np.int32)
        self._solver.addRow(
            at_least, at_most, columns.size, columns, np.array(list(values.values()), dtype=float)
        )

    def solve(self, nodes: int = 0) -> Answer:
        """`nodes`: how long to search for whole numbers at most; the bound holds all the same."""
        if self._whole:
            kinds = [self._kit.HighsVarType.kInteger] * len(self._whole)
            whole = np.array(self._whole, dtype=np.int32)
            self._solver.changeColsIntegrality(len(whole), whole, np.array(kinds))
            self._solver.setOptionValue("mip_max_nodes", nodes)
        self._solver.run()
        info, solution = self._solver.getInfo(), self._solver.getSolution()
        bound = info.mip_dual_bound if self._whole else info.objective_function_value
        is_possible = self._solver.getModelStatus() != self._kit.HighsModelStatus.kInfeasible
        return Answer(np.maximum(0.0, np.array(solution.col_value)), float(bound), is_possible)
