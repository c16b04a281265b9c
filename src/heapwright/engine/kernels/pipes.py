"""Air along perforated pipes: what temperature and vapour it has where it enters the heap.

Units: degrees C, mol a mol of dry gas, flux [mol/s] outwards from the heap, heat conductance of
the pipe wall [W/K] a cell. Conventions: a pipe is a list of cells from its first mouth to its
last; air comes in at the nearer open mouth and warms towards the cells it passes; heat that it
takes from them is taken from ``heat``. Stability: exact relaxation along the pipe, none to keep.
"""

import numba as nb
import numpy as np


@nb.njit(cache=True, error_model="numpy")
def pipe_air(start, end, first, bcell, bf, t, w, air_t, air_w, wall, cp, bt, bw, heat, total):
    """Fill ``bt`` and ``bw`` of the pipe entries [start, end) of the face lists.

    first : entries at which the nearer mouth lies on the first side; wall : conductance to a
    cell; total[0] gains the heat [W] that entered the heap through pipe walls.
    """
    for side in range(2):
        inflow = 0.0
        if side == 0:
            lo, hi, step = start, first, 1
        else:
            lo, hi, step = end - 1, first - 1, -1
        for f in range(lo, hi, step):
            inflow += max(-bf[f], 0.0)
        t_air = air_t
        w_air = air_w
        left = inflow
        for f in range(lo, hi, step):
            i = bcell[f]
            if left > 1e-12:
                share = np.exp(-wall / (left * cp))
                t_new = t[i] + (t_air - t[i]) * share
                given = left * cp * (t_air - t_new)
                heat[i] += given
                total[0] += given
                t_air = t_new
            bt[f] = t_air
            bw[f] = w_air
            left -= max(-bf[f], 0.0)
