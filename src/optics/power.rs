//! Sphere, cylinder and axis as numbers; transposition, power vectors, the power matrix, vertex distance.
