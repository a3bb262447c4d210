//! Measures of rhythm from the literature, checked against their published values.
