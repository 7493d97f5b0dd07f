"""Sets of sites of which at most one can be taken, since they lie too near to each other."""

import numpy as np

from sites.conventions import BoolArray, IntArray


def cliques(count: int, conflicts: IntArray) -> list[IntArray]:
    """Sets of sites of which at most one can stand: every conflict lies in one, every site too; each grown greedily."""
    near = np.zeros((count, count), dtype=bool)
    near[conflicts[:, 0], conflicts[:, 1]] = near[conflicts[:, 1], conflicts[:, 0]] = True
    open_pairs = np.triu(near)
    found = []
    while open_pairs.any():
        first, second = (int(i) for i in np.argwhere(open_pairs)[0])
        found.append(_grown(near, [first, second], open_pairs))
        open_pairs[np.ix_(found[-1], found[-1])] = False
    return found


def clique_partition(count: int, conflicts: IntArray) -> list[IntArray]:
    """Every site in just one set of sites of which at most one can stand."""
    near = np.zeros((count, count), dtype=bool)
    near[conflicts[:, 0], conflicts[:, 1]] = near[conflicts[:, 1], conflicts[:, 0]] = True
    left, found = np.ones(count, dtype=bool), []
    while left.any():
        degree = np.where(left, (near & left).sum(axis=1), -1)
        members = [int(degree.argmax())]
        joined = near[members[0]] & left
        while joined.any():
            members.append(int(np.where(joined, (near & joined).sum(axis=1), -1).argmax()))
            joined &= near[members[-1]]
        left[members] = False
        found.append(np.sort(np.array(members, dtype=np.int64)))
    return found


def _grown(near: BoolArray, members: list[int], open_pairs: BoolArray) -> IntArray:
    joined = near[members[0]] & near[members[1]]
    while joined.any():
        gain = (open_pairs[members].sum(axis=0) + open_pairs[:, members].sum(axis=1)) * 1000 + (near & joined).sum(
            axis=1
        )
        members.append(int(np.where(joined, gain, -1).argmax()))
        joined = joined & near[members[-1]]
    return np.sort(np.array(members, dtype=np.int64))
