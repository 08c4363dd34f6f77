//! Pure functions on SI units. Knows nothing of documents.
