//! Published tolerance tables and the verdict on a finished pair.
