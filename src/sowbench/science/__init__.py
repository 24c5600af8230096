"""Pure formulas, one module per subject: numbers and arrays in, numbers and arrays out."""
