//! NIST Statistical Reference Datasets: certified estimates and standard deviations (files in `tests/data/nist-strd`).

use crate::bounds;
use crate::regression::{Model, Regression, digits, hold};
use std::fs;
use std::path::Path;

fn text_of(file: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/nist-strd").join(file);
    fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// What is certified of a set, as its file prints it.
struct Certified {
    starts: [Vec<f64>; 2],
    estimate: Vec<f64>,
    deviation: Vec<f64>,
    residual_deviation: f64,
}

fn numbers(line: &str) -> Vec<f64> {
    line.split_whitespace().filter_map(|word| word.parse().ok()).collect()
}

/// Rows of y and x below the line that begins with `Data:` and ends the head.
fn data(text: &str) -> (Vec<f64>, Vec<Vec<f64>>) {
    // "Data:" stands in the head too, where what is measured is told.
    let (_, below) = text.rsplit_once("Data:").expect("a line `Data:`");
    let rows = below.lines().map(numbers).filter(|row| row.len() == 2);
    rows.map(|row| (row[0], vec![row[1]])).unzip()
}

/// Start 1, start 2, estimate and standard deviation from the lines `b1 = …`, and the residual's.
fn certified(text: &str) -> Certified {
    let rows: Vec<Vec<f64>> = text
        .lines()
        .filter(|l| l.trim_start().starts_with('b') && l.contains('='))
        .map(numbers)
        .filter(|row| row.len() == 4)
        .collect();
    let column = |k: usize| rows.iter().map(|row| row[k]).collect::<Vec<_>>();
    let residual =
        text.lines().find_map(|l| l.strip_prefix("Residual Standard Deviation:")).expect("its line");
    Certified {
        starts: [column(0), column(1)],
        estimate: column(2),
        deviation: column(3),
        residual_deviation: numbers(residual)[0],
    }
}

fn nonlinear(file: &str, unknowns: usize, observations: usize, model: Model) {
    let text = text_of(file);
    let (y, x) = data(&text);
    let truth = certified(&text);
    assert_eq!((y.len(), truth.estimate.len()), (observations, unknowns), "{file} was not read whole");
    let problem = Regression { y, x, model, size: truth.starts[1].clone() };
    for start in &truth.starts {
        let fitted = problem.fit(start);
        for (k, found) in fitted.estimate.iter().enumerate() {
            let off = (found - truth.estimate[k]).abs() / truth.deviation[k];
            assert!(
                off <= bounds::NONLINEAR_ESTIMATE_DEVIATIONS,
                "{file} b{}: off by {off:e} of its deviation",
                k + 1
            );
        }
        hold(&format!("{file} deviation"), &fitted.deviation, &truth.deviation, bounds::NONLINEAR_DEVIATION);
        hold(
            &format!("{file} residual"),
            &[fitted.residual_deviation],
            &[truth.residual_deviation],
            bounds::NONLINEAR_RESIDUAL,
        );
    }
}

#[test]
fn misra1a_exponential_approach() {
    nonlinear("Misra1a.dat", 2, 14, |b, x| {
        let decay = (-b[1] * x[0]).exp();
        (b[0] * (1.0 - decay), vec![1.0 - decay, b[0] * x[0] * decay])
    });
}

#[test]
fn thurber_cubic_over_cubic() {
    nonlinear("Thurber.dat", 7, 37, |b, x| {
        let powers = [1.0, x[0], x[0] * x[0], x[0].powi(3)];
        let above: f64 = powers.iter().zip(&b[..4]).map(|(p, b)| p * b).sum();
        let below: f64 = 1.0 + powers[1..].iter().zip(&b[4..]).map(|(p, b)| p * b).sum::<f64>();
        let mut gradient: Vec<f64> = powers.iter().map(|p| p / below).collect();
        gradient.extend(powers[1..].iter().map(|p| -above * p / (below * below)));
        (above / below, gradient)
    });
}

#[test]
fn norris_straight_line() {
    let text = text_of("Norris.dat");
    let (y, x) = data(&text);
    assert_eq!(y.len(), 36);
    // The lines of the file's table: "B0  estimate  standard deviation", "Standard Deviation  s".
    let row = |name: &str| {
        let mut rows = text.lines().filter(|l| l.trim_start().starts_with(name)).map(numbers);
        rows.find(|row| !row.is_empty()).expect("its line")
    };
    let (b0, b1) = (row("B0"), row("B1"));
    let fitted =
        Regression { y, x, model: |b, x| (b[0] + b[1] * x[0], vec![1.0, x[0]]), size: vec![1.0, 1e-3] }
            .fit(&[0.0, 0.0]);
    hold("Norris estimate", &fitted.estimate, &[b0[0], b1[0]], bounds::NORRIS);
    hold("Norris deviation", &fitted.deviation, &[b0[1], b1[1]], bounds::NORRIS);
    hold("Norris residual", &[fitted.residual_deviation], &row("Standard Deviation"), bounds::NORRIS);
}

/// Certified values of Longley, as NIST prints them; `tests/data/nist-strd/longley_exact.py` finds every digit again.
const LONGLEY: [[f64; 2]; 7] = [
    [-3482258.63459582, 890420.383607373],
    [15.0618722713733, 84.9149257747669],
    [-0.0358191792925910, 0.0334910077722432],
    [-2.02022980381683, 0.488399681651699],
    [-1.03322686717359, 0.214274163161675],
    [-0.0511041056535807, 0.226073200069370],
    [1829.15146461355, 455.478499142212],
];
const LONGLEY_RESIDUAL: f64 = 304.854073561965;

#[test]
fn longley_nearly_dependent_columns() {
    let text = text_of("Longley.csv");
    let rows: Vec<Vec<f64>> =
        text.lines().skip(1).map(|l| l.split(',').map(|c| c.parse().expect("a number")).collect()).collect();
    assert_eq!(rows.len(), 16);
    let y = rows.iter().map(|row| row[1]).collect();
    let x: Vec<Vec<f64>> = rows.iter().map(|row| [&[1.0], &row[2..]].concat()).collect();
    // Columns of length one: what the condition in `bounds` is said of.
    let size = (0..7).map(|k| 1.0 / x.iter().map(|row| row[k] * row[k]).sum::<f64>().sqrt()).collect();
    let model: Model = |b, x| (b.iter().zip(x).map(|(b, x)| b * x).sum(), x.to_vec());
    let fitted = Regression { y, x, model, size }.fit(&[0.0; 7]);
    hold("Longley estimate", &fitted.estimate, &LONGLEY.map(|row| row[0]), bounds::LONGLEY_ESTIMATE);
    hold("Longley deviation", &fitted.deviation, &LONGLEY.map(|row| row[1]), bounds::LONGLEY_DEVIATION);
    hold("Longley residual", &[fitted.residual_deviation], &[LONGLEY_RESIDUAL], bounds::LONGLEY_ESTIMATE);
}

#[test]
fn digits_are_counted() {
    assert!((digits(1.001, 1.0) - 3.0).abs() < 1e-9 && digits(2.0, 2.0) > 15.0);
}
