"""Proofs of audit and mend over many images: composed ones, broken ones, arbitrary bytes."""
