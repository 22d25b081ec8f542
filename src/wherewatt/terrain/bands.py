"""Cholesky factors of banded matrices.

These are LAPACK's own routines: a small system is solved as fast as scipy's wrappers around them
look at its arguments.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg.lapack import dpbtrf, dtbtrs

from wherewatt.arrays import FloatArray


def factorised(bands: FloatArray) -> FloatArray:
    """(b + 1, n) lower Cholesky factor, in bands, of a symmetric positive definite matrix.

    Parameters
    ----------
    bands : (n, b + 1) diagonal and what lies below it, by column; overwritten.

    Raises
    ------
    LinAlgError
        If the matrix is not positive definite.
    """
    factor, failed = dpbtrf(bands.T, lower=1, overwrite_ab=1)
    if failed:
        raise np.linalg.LinAlgError(f"not positive definite at unknown {failed - 1}")
    return np.asarray(factor)


def forward(factor: FloatArray, right: FloatArray) -> FloatArray:
    """The lower factor divided into a right side (n, …), which may be overwritten."""
    solved, _ = dtbtrs(factor, right, uplo="L", overwrite_b=1)
    return np.asarray(solved)


def backward(factor: FloatArray, right: FloatArray) -> FloatArray:
    """The transposed lower factor divided into a right side (n, …), which may be overwritten."""
    solved, _ = dtbtrs(factor, right, uplo="L", trans="T", overwrite_b=1)
    return np.asarray(solved)
