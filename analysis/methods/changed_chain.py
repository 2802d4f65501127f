"""What a change in an absorbing chain is worth: some states get other moves or another cost, all else stays.

Only the changed rows are solved for, so that hundreds of changes in hundreds of resampled chains cost little. With N
the fundamental matrix, a change D in the rows U and d in their cost adds N[:, U] y to the expected cost, y = (I - D
N[:, U])^-1 (D v + d), v the expected cost before: the matrix identity of Woodbury, written for the rows of a chain.

Source: Kemeny & Snell 1960, Finite Markov Chains, chapter III, for N; Golub & Van Loan, Matrix Computations, section
2.1.4, for the identity.
"""

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse import linalg

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints

DENSE = 500  # states up to which a full matrix is solved faster than a sparse one
FOR_EVER = (
    1e9  # a change whose cost grows by more than so many times comes from a chain without an end, seen through rounding
)


@dataclass(frozen=True)
class Solved:
    """A chain of k passing states, solved for what it costs."""

    visits: Floats  # (k,) expected visits to each state of what begins as it did
    cost: Floats  # (k, q) expected cost to the end from each state, of each thing counted
    columns: Floats  # (k, c) columns of the fundamental matrix
    column_of: Ints  # (k,) which column a state has, -1 for none

    def change(self, rows: Ints, moves: Floats, costs: Floats) -> Floats:
        """Change in expected cost of what begins, shape (q,), when `moves` (u, k) and `costs` (u, q) are added to the
        states `rows` (u,).

        UnusableData where the changed moves lead to no end.
        """
        own = self.columns[:, self.column_of[rows]]
        left, right = np.eye(len(rows)) - moves @ own, moves @ self.cost + costs
        try:
            added = np.linalg.solve(left, right)
        except np.linalg.LinAlgError:
            added = np.full_like(right, np.inf)
        if not bool((np.abs(added) <= FOR_EVER * (1 + np.abs(right).max(initial=0))).all()):
            raise UnusableData(
                "with these moves work would go round for ever; change fewer of them, or wait for more work to come "
                "through"
            )
        return np.asarray(self.visits[rows] @ added, dtype=np.float64)


def solved(among: sparse.csr_matrix, per_visit: Floats, visits: Floats, changing: Ints) -> Solved:
    """Solves a chain for its cost and for the columns of its fundamental matrix that later changes need.

    among : (k, k) chances between passing states; what is missing from 1 in a row ends. per_visit : (k, q). visits :
    (k,), expected visits (of a chain fitted to counts: the counts over the number begun). changing : states whose rows
    changes may touch.
    """
    k = among.shape[0]
    if per_visit.shape[:1] != (k,) or visits.shape != (k,):
        raise UnusableData(
            f"wanted a cost and a number of visits for each of {k} states; got shapes {per_visit.shape} and "
            f"{visits.shape}"
        )
    wanted = np.hstack([per_visit, np.zeros((k, len(changing)))])
    wanted[changing, per_visit.shape[1] + np.arange(len(changing))] = 1.0
    left = sparse.csc_matrix(sparse.identity(k) - among)
    found = np.linalg.solve(left.toarray(), wanted) if k <= DENSE else linalg.splu(left).solve(wanted)
    column_of = np.full(k, -1, dtype=np.int64)
    column_of[changing] = np.arange(len(changing))
    return Solved(visits, found[:, : per_visit.shape[1]], found[:, per_visit.shape[1] :], column_of)
