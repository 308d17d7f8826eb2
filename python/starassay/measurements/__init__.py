"""One package a measurement, by the names of the engine's folders."""
