//! Reading runs and series.

use super::write::STATUSES;
use super::{Known, Store, StoreError};
use crate::history::comparable::Basis;
use crate::history::quantity::Quantity;
use crate::history::record::{Entry, Fingerprint, RunFacts};
use crate::measure::{Budget, Measured, Status};
use crate::run::Counts;
use rusqlite::types::Value;
use rusqlite::{Row, params, params_from_iter};
use std::collections::HashMap;

/// Which runs are wanted.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Filter {
    /// The vehicle's folder.
    pub vehicle: Option<String>,
    /// The test.
    pub test: Option<String>,
    /// Not before, µs since 1970.
    pub since_us: Option<i64>,
    /// Before, µs since 1970.
    pub until_us: Option<i64>,
    /// Only so many, the latest.
    pub latest: Option<usize>,
    /// Without so many of the very latest, for the next page of a list.
    pub skip: usize,
}

impl Filter {
    /// The conditions, without the limit, and their values.
    fn asked(&self) -> (String, Vec<Value>) {
        let text = |v: &Option<String>| v.clone().map(Value::Text);
        let conditions = [
            ("vehicle = ?", text(&self.vehicle)),
            // A run that went through several tests is of each: "bounce, ramp".
            ("instr(', ' || test || ',', ', ' || ? || ',') > 0", text(&self.test)),
            ("started_us >= ?", self.since_us.map(Value::Integer)),
            ("started_us < ?", self.until_us.map(Value::Integer)),
        ];
        let (asked, wanted): (Vec<&str>, Vec<Value>) =
            conditions.into_iter().filter_map(|(c, v)| Some((c, v?))).unzip();
        let all = if asked.is_empty() { "TRUE".to_owned() } else { asked.join(" AND ") };
        (all, wanted)
    }
}

/// A run as the database has it.
#[derive(Debug, Clone, PartialEq)]
pub struct RunRow {
    /// Its number in the database.
    pub id: i64,
    /// Where it came from.
    pub facts: RunFacts,
}

/// An axle in a run.
#[derive(Debug, Clone, PartialEq)]
pub struct AxleRow {
    /// Number of the run.
    pub run: i64,
    /// Agreement of the sensors.
    pub chi_square_per_dof: Option<f64>,
    /// Number of the facts that its numbers depend on.
    pub basis: i64,
}

/// A measured value in a series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeriesPoint {
    /// Number of the run.
    pub run: i64,
    /// Value, SI.
    pub value: f64,
    /// Its whole standard uncertainty, SI.
    pub u: f64,
    /// The part of it that runs with one rig do not share: noise, zero and model; the whole where no budget is told.
    pub own_u: f64,
}

/// A quantity of an axle over runs.
#[derive(Debug, Clone, PartialEq)]
pub struct SeriesRow {
    /// The axle.
    pub axle: String,
    /// What is followed.
    pub quantity: Quantity,
    /// Where it was measured, in no particular order.
    pub points: Vec<SeriesPoint>,
}

impl Store {
    /// Every run that is known, with how its files looked.
    ///
    /// # Errors
    /// When the database is damaged or cannot be read.
    pub fn known(&self) -> Result<Vec<Known>, StoreError> {
        self.all("SELECT vehicle, name, header_bytes, header_us, data_bytes FROM run", [], |row| {
            Ok(Known {
                vehicle: row.get(0)?,
                run: row.get(1)?,
                fingerprint: Fingerprint {
                    header_bytes: unsigned(row.get(2)?),
                    header_us: row.get(3)?,
                    data_bytes: row.get::<_, Option<i64>>(4)?.map(unsigned),
                },
            })
        })
    }

    /// Runs in order of time.
    ///
    /// # Errors
    /// As for [`Self::known`].
    pub fn runs(&self, filter: &Filter) -> Result<Vec<RunRow>, StoreError> {
        let (asked, mut wanted) = filter.asked();
        let whole = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
        wanted.push(Value::Integer(filter.latest.map_or(-1, whole)));
        wanted.push(Value::Integer(whole(filter.skip)));
        let sql = format!(
            "SELECT id, vehicle, name, started, started_us, test, ramp_angle_rad, notes, design_hash, rig_hash,
             calibration_hash, data_hash, rig_basis, firmware, program, received, lost, excluded, problem
             FROM run WHERE {asked} ORDER BY started_us DESC, id DESC LIMIT ? OFFSET ?"
        );
        let mut rows = self.all(&sql, params_from_iter(wanted), run_row)?;
        rows.reverse();
        Ok(rows)
    }

    /// A vehicle's service record as the database has it: date, instant, text, work.
    ///
    /// # Errors
    /// As for [`Self::known`].
    pub fn services(&self, vehicle: &str) -> Result<Vec<(String, i64, String, String)>, StoreError> {
        let sql = "SELECT date, at_us, text, work FROM service WHERE vehicle = ?1 ORDER BY id";
        self.all(sql, params![vehicle], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))
    }

    /// How many runs were measured by another version of the program.
    ///
    /// # Errors
    /// As for [`Self::known`].
    pub fn measured_by_others(&self, program: &str) -> Result<usize, StoreError> {
        let sql = "SELECT count(*) FROM run WHERE program <> ?1";
        let counts: Vec<i64> = self.all(sql, params![program], |row| row.get(0))?;
        Ok(counts.first().map_or(0, |n| usize::try_from(*n).unwrap_or(0)))
    }

    /// How many runs there are.
    ///
    /// # Errors
    /// As for [`Self::known`].
    pub fn count(&self, filter: &Filter) -> Result<usize, StoreError> {
        let (asked, wanted) = filter.asked();
        let sql = format!("SELECT count(*) FROM run WHERE {asked}");
        let counts: Vec<i64> = self.all(&sql, params_from_iter(wanted), |row| row.get(0))?;
        Ok(counts.first().map_or(0, |n| usize::try_from(*n).unwrap_or(0)))
    }

    /// The axles of a vehicle's runs, by name; only of runs whose number is `from` or more.
    ///
    /// # Errors
    /// As for [`Self::known`].
    pub fn axles(&self, vehicle: &str, from: i64) -> Result<HashMap<String, Vec<AxleRow>>, StoreError> {
        let sql = "SELECT axle.name, axle.run, axle.chi_square_per_dof, axle.basis
             FROM run JOIN axle ON axle.run = run.id WHERE run.vehicle = ?1 AND run.id >= ?2";
        let rows = self.all(sql, params![vehicle, from], |row| {
            let axle = AxleRow { run: row.get(1)?, chi_square_per_dof: row.get(2)?, basis: row.get(3)? };
            Ok((row.get::<_, String>(0)?, axle))
        })?;
        let mut axles: HashMap<String, Vec<AxleRow>> = HashMap::new();
        for (name, axle) in rows {
            axles.entry(name).or_default().push(axle);
        }
        Ok(axles)
    }

    /// Facts that numbers depend on, by their number.
    ///
    /// # Errors
    /// As for [`Self::known`].
    pub fn bases(&self) -> Result<HashMap<i64, Basis>, StoreError> {
        let rows: Vec<(i64, String)> =
            self.all("SELECT id, facts FROM basis", [], |row| Ok((row.get(0)?, row.get(1)?)))?;
        rows.into_iter()
            .map(|(id, facts)| match serde_json::from_str(&facts) {
                Ok(basis) => Ok((id, basis)),
                Err(error) => Err(StoreError::Damaged { path: self.path.clone(), detail: error.to_string() }),
            })
            .collect()
    }

    /// Every series of a vehicle, with its measured values; only of runs whose number is `from` or more.
    ///
    /// # Errors
    /// As for [`Self::known`].
    pub fn series(&self, vehicle: &str, from: i64) -> Result<Vec<SeriesRow>, StoreError> {
        let rows = self.all(
            "SELECT id, axle, quantity, element FROM series WHERE vehicle = ?1 ORDER BY id",
            params![vehicle],
            |row| Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?, row.get(2)?, row.get(3)?)),
        )?;
        let mut all = Vec::new();
        for (id, axle, name, element) in rows {
            let (name, element): (String, String) = (name, element);
            // A quantity of a program that knew more is passed over.
            let Some(quantity) = Quantity::parse(&name, &element) else { continue };
            all.push(SeriesRow { axle, quantity, points: self.points(id, from)? });
        }
        Ok(all)
    }

    /// A value that is not resolved counts with its u: a tight joint's play is one, and a baseline is made of such.
    fn points(&self, series: i64, from: i64) -> Result<Vec<SeriesPoint>, StoreError> {
        let sql = "SELECT run, value, u, noise, mount, scale, zero, heading, model FROM measurement
             WHERE series = ?1 AND run >= ?2 AND status IN (0, 1)";
        let points = self.all(sql, params![series, from], |row| {
            let (value, u): (Option<f64>, Option<f64>) = (row.get(1)?, row.get(2)?);
            let run = row.get(0)?;
            let budget = budget(row, 3)?;
            Ok(value.zip(u).map(|(value, u)| {
                let own_u = budget.map_or(u, |b| own_part(u, &b));
                SeriesPoint { run, value, u, own_u }
            }))
        })?;
        Ok(points.into_iter().flatten().collect())
    }

    /// Everything that the runs with these numbers measured: number of the run, axle, entry.
    ///
    /// # Errors
    /// As for [`Self::known`].
    pub fn entries(&self, runs: &[i64]) -> Result<Vec<(i64, String, Entry)>, StoreError> {
        /// Numbers in one question.
        const AT_ONCE: usize = 500;
        let mut all = Vec::new();
        for runs in runs.chunks(AT_ONCE) {
            let marks = vec!["?"; runs.len()].join(",");
            let sql = format!(
                "SELECT m.run, s.axle, s.quantity, s.element, m.status, m.value, m.u, r.text,
                 m.noise, m.mount, m.scale, m.zero, m.heading, m.model
                 FROM measurement m INDEXED BY measurement_by_run JOIN series s ON s.id = m.series
                 LEFT JOIN reason r ON r.id = m.why WHERE m.run IN ({marks}) ORDER BY m.run, s.id"
            );
            let told = |e: rusqlite::Error| self.told(&e);
            let mut statement = self.connection.prepare(&sql).map_err(told)?;
            let rows = statement.query_map(params_from_iter(runs), entry_row).map_err(told)?;
            for row in rows {
                all.extend(row.map_err(told)?);
            }
        }
        Ok(all)
    }

    fn all<T>(
        &self,
        sql: &str,
        wanted: impl rusqlite::Params,
        read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, StoreError> {
        let told = |e: rusqlite::Error| self.told(&e);
        let mut statement = self.connection.prepare_cached(sql).map_err(told)?;
        let rows = statement.query_map(wanted, read).map_err(told)?;
        rows.collect::<rusqlite::Result<Vec<T>>>().map_err(told)
    }
}

fn unsigned(number: i64) -> u64 {
    u64::try_from(number).unwrap_or(0)
}

fn run_row(row: &Row<'_>) -> rusqlite::Result<RunRow> {
    Ok(RunRow {
        id: row.get(0)?,
        facts: RunFacts {
            vehicle: row.get(1)?,
            run: row.get(2)?,
            started: row.get(3)?,
            started_us: row.get(4)?,
            test: row.get(5)?,
            ramp_angle_rad: row.get(6)?,
            notes: row.get(7)?,
            design_hash: row.get(8)?,
            rig_hash: row.get(9)?,
            calibration_hash: row.get(10)?,
            data_hash: row.get(11)?,
            rig_basis: row.get(12)?,
            firmware: row.get(13)?,
            program: row.get(14)?,
            counts: Counts {
                received: unsigned(row.get(15)?),
                lost: unsigned(row.get(16)?),
                excluded: unsigned(row.get(17)?),
            },
            problem: row.get(18)?,
        },
    })
}

fn entry_row(row: &Row<'_>) -> rusqlite::Result<Option<(i64, String, Entry)>> {
    let (name, element): (String, String) = (row.get(2)?, row.get(3)?);
    let Some(quantity) = Quantity::parse(&name, &element) else { return Ok(None) };
    let status: i64 = row.get(4)?;
    let status =
        usize::try_from(status).ok().and_then(|s| STATUSES.get(s)).copied().unwrap_or(Status::NotMeasured);
    let budget = budget(row, 8)?;
    let measured = Measured { value: row.get(5)?, u: row.get(6)?, status, why: row.get(7)? };
    Ok(Some((row.get(0)?, row.get(1)?, Entry { quantity, measured, budget })))
}

/// A budget in six columns from `first` on; none where none was told.
fn budget(row: &Row<'_>, first: usize) -> rusqlite::Result<Option<Budget>> {
    let part = |k: usize| row.get::<_, Option<f64>>(first + k);
    Ok(match [part(0)?, part(1)?, part(2)?, part(3)?, part(4)?, part(5)?] {
        [Some(noise), Some(mount), Some(scale), Some(zero), Some(heading), Some(model)] => {
            Some(Budget { noise, mount, scale, zero, heading, model })
        }
        _ => None,
    })
}

/// The part of `u` that runs with one rig do not share, by the shares of its budget.
fn own_part(u: f64, budget: &Budget) -> f64 {
    let total = budget.total();
    if total > 0.0 { u * budget.own_and_shared()[0] / total } else { u }
}
