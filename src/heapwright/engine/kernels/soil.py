"""The ground under a heap: one column of layers below every ground face, heat by conduction.

Units: temperature [degrees C], heat [W], conductance [W/K]. Conventions: layers lie top down and
grow with depth; below the last one stands the deep temperature; columns do not exchange sideways.
Stability (explicit): dt <= C dz^2 / (2 lambda), 10,000 s for 10 cm of soil.
"""

import numba as nb


@nb.njit(cache=True, error_model="numpy")
def soil_step(gcell, dt, dx, conductivity, t, layers, thickness, soil_k, soil_c, deep, heat):
    """Exchange with the ground; returns heat that entered the heap [W] and the deep soil [W].

    layers (faces, L) : temperatures, changed in place; heat : what cells gain, added to.
    """
    area = dx * dx
    into_heap = 0.0
    into_deep = 0.0
    count = thickness.shape[0]
    for f in range(gcell.shape[0]):
        i = gcell[f]
        first = area / (dx / (2.0 * conductivity[i]) + thickness[0] / (2.0 * soil_k))
        q = first * (layers[f, 0] - t[i])
        heat[i] += q
        into_heap += q
        up = -q
        for n in range(count):
            below = deep
            distance = thickness[n] / 2.0
            if n + 1 < count:
                below = layers[f, n + 1]
                distance += thickness[n + 1] / 2.0
            down = area * soil_k / distance * (layers[f, n] - below)
            layers[f, n] += dt * (up - down) / (soil_c * area * thickness[n])
            up = down
        into_deep += up
    return into_heap, into_deep
