"""The heap simulator: mesh, state, kernels and the step that joins them (being built)."""
