//! The database's tables. Migrations are only ever added at the end: a database of any older version is carried forward.

use rusqlite::Connection;

/// Marks a database as this program's (`HING`).
pub const APPLICATION: i32 = 0x4849_4e47;

/// Each brings a database from the version that is its place in the list to the next.
pub const MIGRATIONS: [&str; 3] = [
    "CREATE TABLE run (
        id INTEGER PRIMARY KEY, vehicle TEXT NOT NULL, name TEXT NOT NULL,
        started TEXT NOT NULL, started_us INTEGER NOT NULL, test TEXT, ramp_angle_rad REAL, notes TEXT NOT NULL,
        design_hash TEXT NOT NULL, rig_hash TEXT NOT NULL, calibration_hash TEXT, data_hash TEXT NOT NULL,
        rig_basis TEXT NOT NULL, firmware TEXT, program TEXT NOT NULL,
        received INTEGER NOT NULL, lost INTEGER NOT NULL, excluded INTEGER NOT NULL, problem TEXT,
        header_bytes INTEGER NOT NULL, header_us INTEGER NOT NULL, data_bytes INTEGER,
        UNIQUE (vehicle, name)
    );
    CREATE INDEX run_by_time ON run (vehicle, started_us);
    CREATE TABLE basis (id INTEGER PRIMARY KEY, facts TEXT NOT NULL UNIQUE);
    CREATE TABLE axle (
        run INTEGER NOT NULL REFERENCES run (id), name TEXT NOT NULL, chi_square_per_dof REAL,
        heave_low_m REAL NOT NULL, heave_high_m REAL NOT NULL, roll_low_rad REAL NOT NULL, roll_high_rad REAL NOT NULL,
        basis INTEGER NOT NULL REFERENCES basis (id), PRIMARY KEY (run, name)
    ) WITHOUT ROWID;
    CREATE TABLE series (
        id INTEGER PRIMARY KEY, vehicle TEXT NOT NULL, axle TEXT NOT NULL, quantity TEXT NOT NULL, element TEXT NOT NULL,
        UNIQUE (vehicle, axle, quantity, element)
    );
    CREATE TABLE reason (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);
    CREATE TABLE measurement (
        series INTEGER NOT NULL REFERENCES series (id), run INTEGER NOT NULL REFERENCES run (id),
        status INTEGER NOT NULL, value REAL, u REAL, why INTEGER REFERENCES reason (id),
        noise REAL, mount REAL, scale REAL, zero REAL, heading REAL, model REAL,
        PRIMARY KEY (series, run)
    ) WITHOUT ROWID;
    CREATE INDEX measurement_by_run ON measurement (run);",
    "CREATE TABLE service (
        id INTEGER PRIMARY KEY, vehicle TEXT NOT NULL, date TEXT NOT NULL, at_us INTEGER NOT NULL,
        text TEXT NOT NULL, work TEXT NOT NULL, element TEXT
    );
    CREATE INDEX service_by_time ON service (vehicle, at_us);",
    // The latest runs of a whole fleet, without looking at all of them.
    "CREATE INDEX run_by_start ON run (started_us);",
];

/// Version of the database as it stands.
///
/// # Errors
/// When it cannot be read.
pub fn version(connection: &Connection) -> rusqlite::Result<usize> {
    let version: i64 = connection.pragma_query_value(None, "user_version", |row| row.get(0))?;
    Ok(usize::try_from(version).unwrap_or(usize::MAX))
}

/// Carries a database forward to the newest version, each step whole or not at all. One that is newest already is untouched.
///
/// # Errors
/// When the database refuses.
pub fn migrate(connection: &mut Connection) -> rusqlite::Result<()> {
    loop {
        // The version is read again inside the transaction: another program may have been quicker.
        let transaction = connection.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
        let at = version(&transaction)?;
        let Some(step) = MIGRATIONS.get(at) else { return Ok(()) };
        transaction.execute_batch(step)?;
        transaction.pragma_update(None, "user_version", (at + 1) as i64)?;
        transaction.pragma_update(None, "application_id", APPLICATION)?;
        transaction.commit()?;
    }
}
