"""What the curves of a run are made of: sums over parts of a heap, and its extremes.

Units: temperature [degrees C], oxygen as mole fraction, masses [kg] and heat [W] a cell.
Conventions: a part is a row of 0 and 1 by cell, in the order of ``cells``. Nothing moves here: no
stability limit. Why one call: each of these sums from Python costs as much as all of them here.
"""

import numba as nb

#: columns of ``sums``
CELLS, TEMP, O2, DRY, WATER = range(5)
#: entries of ``whole``
HOTTEST, LEAST_O2, HEAT, HOT = range(4)


@nb.njit(cache=True, error_model="numpy")
def glance(cells, parts, temp, o2, dry, water, heat, hot_c, sums, whole):
    """Fill sums (parts, 5) over the cells of every part, and whole (4,): the highest temperature,
    the lowest oxygen, all heat, and the number of cells above ``hot_c``."""
    sums[:] = 0.0
    whole[HOTTEST], whole[LEAST_O2], whole[HEAT], whole[HOT] = -1e9, 1e9, 0.0, 0.0
    for n in range(cells.shape[0]):
        i = cells[n]
        t, y, d, w = temp[i], o2[i], dry[i], water[i]
        for p in range(parts.shape[0]):
            if parts[p, n]:
                sums[p, CELLS] += 1.0
                sums[p, TEMP] += t
                sums[p, O2] += y
                sums[p, DRY] += d
                sums[p, WATER] += w
        whole[HOTTEST] = max(whole[HOTTEST], t)
        whole[LEAST_O2] = min(whole[LEAST_O2], y)
        whole[HEAT] += heat[i]
        if t > hot_c:
            whole[HOT] += 1.0
