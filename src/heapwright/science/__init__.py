"""Pure cited functions: floats or arrays in and out, no state, no files but values/."""
