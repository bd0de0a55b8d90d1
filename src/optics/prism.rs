//! Prism: bases, resultants, and what a displaced optical centre makes (Prentice).
