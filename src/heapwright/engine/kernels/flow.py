"""Gas flow through a heap: pressure by conjugate gradients, volume or molar flux on faces.

Units: conductance g [mol/(s Pa)] or [m3/(s Pa)], pressure [Pa] relative to the hydrostatic
pressure of the air outside, flux [mol/s] or [m3/s], positive towards +x, +y, +z and outwards.
Equation per cell: sum over faces of g (p - p_neighbour + b) = source, where b is the head of the
face's buoyancy [Pa], zero on sides. Layout: fields have length N (a padded box, C order); gx[i],
gy[i], gz[i] and hz[i] belong to the face between i and i + 1, i + sy, i + sz and are zero where
either side is no heap; open faces are a list (cell, conductance, head, outside pressure).
Stability: none to keep; the matrix is symmetric and positive definite once any face is open.
"""

import numba as nb
import numpy as np

ONE = np.uint64(1)


def bridged(runs, gap=20):
    """The runs with gaps of up to *gap* cells bridged, so that loops are long.

    The cells between are no heap; with conductances of 0 they change nothing.

    >>> bridged(np.array([[5, 9], [11, 15], [30, 34]], dtype=np.uint64), 2).tolist()
    [[5, 15], [30, 34]]
    """
    starts, ends = runs[:, 0], runs[:, 1]
    cut = np.flatnonzero(starts[1:] - ends[:-1] > gap) + 1
    return np.column_stack([starts[np.append(0, cut)], ends[np.append(cut, ends.size) - 1]])


@nb.njit(cache=True, error_model="numpy")
def diagonal(runs, sy, sz, gx, gy, gz, bcell, bg, diag, inverse):
    """Fill ``diag`` with the sum of conductances of every cell, ``inverse`` with 1 over it."""
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            diag[i] = gx[i] + gx[i - ONE] + gy[i] + gy[i - sy] + gz[i] + gz[i - sz]
    for f in range(bcell.shape[0]):
        diag[bcell[f]] += bg[f]
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            inverse[i] = 1.0 / diag[i] if diag[i] > 0.0 else 0.0


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def right_side(runs, sz, gz, hz, source, bcell, bg, bh, bp, out):
    """Fill ``out`` with sources, buoyancy of inner faces and open faces."""
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            out[i] = source[i] - gz[i] * hz[i] + gz[i - sz] * hz[i - sz]
    for f in range(bcell.shape[0]):
        out[bcell[f]] += bg[f] * (bp[f] - bh[f])


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def _times(runs, sy, sz, gx, gy, gz, diag, d, q):
    """q = A d over active cells; returns d . q."""
    total = 0.0
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            v = (
                diag[i] * d[i]
                - gx[i] * d[i + ONE]
                - gx[i - ONE] * d[i - ONE]
                - gy[i] * d[i + sy]
                - gy[i - sy] * d[i - sy]
                - gz[i] * d[i + sz]
                - gz[i - sz] * d[i - sz]
            )
            q[i] = v
            total += v * d[i]
    return total


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def _residual(runs, sy, sz, gx, gy, gz, diag, inverse, rhs, p, r_, d):
    """r = rhs - A p and d = r / diagonal; returns r . d, r . r and rhs . rhs."""
    rz = 0.0
    rr = 0.0
    bb = 0.0
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            res = (
                rhs[i]
                - diag[i] * p[i]
                + gx[i] * p[i + ONE]
                + gx[i - ONE] * p[i - ONE]
                + gy[i] * p[i + sy]
                + gy[i - sy] * p[i - sy]
                + gz[i] * p[i + sz]
                + gz[i - sz] * p[i - sz]
            )
            z = res * inverse[i]
            r_[i] = res
            d[i] = z
            rz += res * z
            rr += res * res
            bb += rhs[i] * rhs[i]
    return rz, rr, bb


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def descend(runs, sy, sz, gx, gy, gz, diag, inverse, p, r_, d, q, rz, rr, limit, most):
    """Conjugate gradients until r . r is at most ``limit``; returns (iterations, r . r).

    ``r_`` is the residual of ``p`` and ``d`` the residual over the diagonal; rz and rr are r . d
    and r . r. ``q`` is scratch.
    """
    done = 0
    while rr > limit and done < most:
        dq = _times(runs, sy, sz, gx, gy, gz, diag, d, q)
        alpha = d.dtype.type(rz / dq)
        new = 0.0
        rr = 0.0
        for r in range(runs.shape[0]):
            for i in range(runs[r, 0], runs[r, 1]):
                p[i] += alpha * d[i]
                res = r_[i] - alpha * q[i]
                r_[i] = res
                new += res * res * inverse[i]
                rr += res * res
        done += 1
        if rr <= limit:
            break
        beta = d.dtype.type(new / rz)
        rz = new
        for r in range(runs.shape[0]):
            for i in range(runs[r, 0], runs[r, 1]):
                d[i] = r_[i] * inverse[i] + beta * d[i]
    return done, rr


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def solve_pressure(runs, sy, sz, gx, gy, gz, diag, inverse, rhs, p, r_, d, q, tolerance, most):
    """Conjugate gradients with the diagonal as preconditioner, from the pressure in ``p``.

    Ends when the residual is below ``tolerance`` times the norm of the right side; at most
    ``most`` iterations. Returns (iterations, relative residual). ``r_``, ``d``, ``q`` are scratch.
    """
    rz, rr, bb = _residual(runs, sy, sz, gx, gy, gz, diag, inverse, rhs, p, r_, d)
    limit = tolerance * tolerance * bb
    done, rr = descend(runs, sy, sz, gx, gy, gz, diag, inverse, p, r_, d, q, rz, rr, limit, most)
    return done, np.sqrt(rr / bb) if bb > 0.0 else 0.0


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def fluxes(runs, sy, sz, gx, gy, gz, hz, p, bcell, bg, bh, bp, fx, fy, fz, bf):
    """Flux through every face from the pressure; open faces outwards in ``bf``."""
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            fx[i] = gx[i] * (p[i] - p[i + ONE])
            fy[i] = gy[i] * (p[i] - p[i + sy])
            fz[i] = gz[i] * (p[i] - p[i + sz] + hz[i])
    for f in range(bcell.shape[0]):
        bf[f] = bg[f] * (p[bcell[f]] - bp[f] + bh[f])


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def extrapolate(runs, now, before):
    """Put 2 now - before into ``now`` and the old ``now`` into ``before``: a first guess."""
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            guess = 2.0 * now[i] - before[i]
            before[i] = now[i]
            now[i] = guess
