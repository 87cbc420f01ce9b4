#!/usr/bin/env python3
"""Longley's regression in exact fractions: prints estimates, standard deviations and the residual standard deviation.

These are the numbers that tests/tests/outside_truth/nist.rs holds the solver to.
"""

from __future__ import annotations

import csv
from decimal import Decimal, getcontext
from fractions import Fraction
from pathlib import Path

getcontext().prec = 40


def inverse(matrix: list[list[Fraction]]) -> list[list[Fraction]]:
    """By Gauss-Jordan elimination, exactly."""
    n = len(matrix)
    rows = [list(row) + [Fraction(i == j) for j in range(n)] for i, row in enumerate(matrix)]
    for k in range(n):
        pivot = next(i for i in range(k, n) if rows[i][k] != 0)
        rows[k], rows[pivot] = rows[pivot], rows[k]
        rows[k] = [value / rows[k][k] for value in rows[k]]
        for i in range(n):
            if i != k:
                rows[i] = [a - rows[i][k] * b for a, b in zip(rows[i], rows[k])]
    return [row[n:] for row in rows]


def decimal(value: Fraction) -> Decimal:
    """To 40 digits."""
    return Decimal(value.numerator) / Decimal(value.denominator)


def main() -> None:
    """Fit and print."""
    with (Path(__file__).parent / "Longley.csv").open(encoding="utf-8") as file:
        table = [[Fraction(cell) for cell in row[1:]] for row in list(csv.reader(file))[1:]]
    y = [row[0] for row in table]
    x = [[Fraction(1), *row[1:]] for row in table]
    n = len(x[0])
    cofactors = inverse([[sum(r[i] * r[j] for r in x) for j in range(n)] for i in range(n)])
    right = [sum(r[i] * v for r, v in zip(x, y)) for i in range(n)]
    b = [sum(c * v for c, v in zip(row, right)) for row in cofactors]
    left = [v - sum(p * q for p, q in zip(r, b)) for r, v in zip(x, y)]
    variance = sum(e * e for e in left) / (len(y) - n)
    for k in range(n):
        print(f"B{k} {decimal(b[k]):.15} sd {decimal(cofactors[k][k] * variance).sqrt():.15}")
    print(f"residual sd {decimal(variance).sqrt():.15}")


if __name__ == "__main__":
    main()
