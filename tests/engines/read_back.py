"""Has the program export runs whose readings are known, and reads the data sets with two engines that share no code with it.

    python3 tests/engines/read_back.py PROGRAM

DuckDB and Polars (PyPI) read what `hingeline export` wrote; every number must be, to the last bit, what `hingeline analyse --json`
says, every reading the cell of the table it came from, and every pose what `analyse --poses` writes. Exits 1 at the first
thing that is not so; prints a line that begins with `ok ` for each thing that is.
"""

import csv
import json
import pathlib
import shutil
import subprocess
import sys
import tempfile

import duckdb
import polars

HERE = pathlib.Path(__file__).resolve().parent
PROGRAM = str(pathlib.Path(sys.argv[1]).resolve())
# A name with a space, a letter beyond ASCII, and both signs that a partitioned path must not hold as they are.
VEHICLES = ["Bramble", "Käfer 50%=2"]
# Millimetres of the table to metres.
PER_MM = 1e-3
# One product of two floats, rounded once on either side.
ROUNDING = 4e-16
SETS = ["samples", "poses", "numbers"]


def hingeline(folder, *arguments):
    done = subprocess.run([PROGRAM, *arguments], cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        sys.exit(f"hingeline {' '.join(arguments)}: exit {done.returncode}\n{done.stderr}")
    return done.stdout


def check(what, holds):
    if not holds:
        sys.exit(f"NOT SO: {what}")
    print("ok", what)


def make_logbook(folder):
    """Two vehicles with a run each, and for each vehicle the rows of the table that its run was made of."""
    hingeline(folder, "init", ".")
    tables = {}
    for seed, vehicle in enumerate(VEHICLES):
        made = folder / f"made-{seed}"
        command = [sys.executable, HERE.parent / "oracle/make_run.py", "--case", "T", "--rig", "rich", "--faults", "planted"]
        more = ["--seed", str(seed), "--rate", "50", "--ramp-angle", "20", "--out", made]
        subprocess.run([*command, *more], check=True, capture_output=True)
        (folder / vehicle).mkdir()
        for name in ["vehicle.toml", "rig.toml"]:
            shutil.copy(made / name, folder / vehicle / name)
        hingeline(folder, "import", str(made / "run.csv"), "--vehicle", vehicle, "--ramp-angle", "20", "--recorded", "2026-11-25T14:12")
        with open(made / "run.csv", newline="", encoding="utf-8") as file:
            tables[vehicle] = list(csv.DictReader(file))
    return tables


class Duck:
    """DuckDB's reading of a data set, as a list of dicts."""

    name = "DuckDB"

    @staticmethod
    def rows(folder, form="parquet"):
        reader = "read_parquet" if form == "parquet" else "read_csv"
        relation = duckdb.sql(f"SELECT * FROM {reader}('{folder}/**/*.{form}', hive_partitioning = true)")
        return [dict(zip(relation.columns, row)) for row in relation.fetchall()]


class Polars:
    """Polars' reading of a data set, as a list of dicts."""

    name = "Polars"

    @staticmethod
    def rows(folder, form="parquet"):
        scan = polars.scan_parquet if form == "parquet" else polars.scan_csv
        more = {"hive_partitioning": True} if form == "parquet" else {}
        return scan(f"{folder}/**/*.{form}", **more).collect().to_dicts()


def numbers_are_those_of_the_analysis(engine, out, analyses):
    rows = engine.rows(out / "numbers")
    count = 0
    for vehicle, analysis in analyses.items():
        for axle in analysis["axles"]:
            mine = [r for r in rows if r["vehicle"] == vehicle and r["axle"] == axle["name"]]
            keyed = {r["key"]: r for r in mine if r["link"] is None}
            expected = dict(axle["measured"])
            for side in ["left", "right"]:
                expected[f"ramp_travel_index_{side}"] = axle["ramp_travel_index"][side]
            for key, said in expected.items():
                row = keyed[key]
                count += (row["value"], row["u"], row["status"]) == (said["value"], said["u"], said["status"])
                for part, value in axle["budget"].get(key, {}).items():
                    count -= row[f"u_{part}"] != value
            for link in axle["links"]:
                of_link = {r["key"]: r for r in mine if r["link"] == link["name"]}
                count += of_link["nominal_m"]["value"] == link["nominal_m"]
                play = of_link["play_m"]
                count += (play["value"], play["status"]) == (link["play_m"]["value"], link["play_m"]["status"])
            wanted = len(expected) + 2 * len(axle["links"])
            check(f"{engine.name}: {wanted} numbers and links of {vehicle} are those of analyse --json", count == wanted)
            check(f"{engine.name}: nothing is told twice", len(mine) == len({(r["key"], r["link"]) for r in mine}))
            count = 0
    measured = [r for r in rows if r["status"] == "measured"]
    check(f"{engine.name}: many are measured, and only those have a value", len(measured) > 20 and all(r["u"] > 0 for r in measured))
    check(f"{engine.name}: hashes are told", all(len(r[h]) == 64 for r in rows for h in ["run_hash", "design_hash", "rig_hash"]))


def readings_are_those_of_the_table(engine, out, tables):
    rows = engine.rows(out / "samples")
    for vehicle, table in tables.items():
        mine = [r for r in rows if r["vehicle"] == vehicle]
        by_channel = {}
        for row in mine:
            name = row["sensor"] + (f".{row['component']}" if row["component"] else "")
            by_channel.setdefault((name, row["unit"]), []).append(row)
        scale = {"m": PER_MM, "m/s2": 1.0, "rad/s": 1.0}
        known = 0
        for (name, unit), found in by_channel.items():
            expected = [line for line in table if line[name] not in ("", "nan")]
            check(f"{engine.name}: {vehicle}, {name} has {len(expected)} readings", len(found) == len(expected))
            for row, line in zip(found, expected):
                value = float(line[name]) * scale[unit]
                same = abs(row["value"] - value) <= ROUNDING * abs(value) and row["t_s"] == float(line["t_s"])
                known += same and (row["phase"] or "") == line["phase"]
        check(f"{engine.name}: {known} readings of {vehicle} with time and phase", known == len(mine) > 10_000)


def poses_are_those_of_one_file(engine, out, folder, runs):
    rows = engine.rows(out / "poses")
    for vehicle, run in runs.items():
        single = folder / f"{run}.parquet"
        text = folder / f"{run}.csv"
        hingeline(folder, "analyse", f"{vehicle}/{run}", "--poses", str(single))
        hingeline(folder, "analyse", f"{vehicle}/{run}", "--poses", str(text))
        mine = [r for r in rows if r["vehicle"] == vehicle]
        alone = polars.read_parquet(single).to_dicts()
        lines = polars.read_csv(text, infer_schema_length=None).to_dicts()
        stripped = [{k: v for k, v in r.items() if k not in ("vehicle", "run")} for r in mine]
        check(f"{engine.name}: {len(mine)} poses of {vehicle}", stripped == alone and len(mine) > 100)
        check(f"{engine.name}: the same as lines", all(float(a[k]) == b[k] for a, b in zip(lines, alone) for k in ["t_s", "heave_m", "roll_rad", "pitch_u_rad"]))
        single.unlink()
        text.unlink()


def files_say_what_they_are(out, analyses):
    facts = duckdb.sql(f"SELECT file_name, decode(key), decode(value) FROM parquet_kv_metadata('{out}/*/*/*/*.parquet')").fetchall()
    by_file = {}
    for name, key, value in facts:
        by_file.setdefault(name, {})[key] = value
    check("six files carry format 1 and three hashes", len(by_file) == 6 and all(
        f["format"] == "1" and all(len(f[h]) == 64 for h in ["run_hash", "design_hash", "rig_hash"]) for f in by_file.values()
    ))
    check("each names its vehicle", {f["vehicle"] for f in by_file.values()} == set(analyses))
    types = dict(duckdb.sql(f"SELECT column_name, column_type FROM (DESCRIBE SELECT * FROM '{out}/numbers/**/*.parquet')").fetchall())
    check("types are plain", (types["value"], types["status"], types["started"]) == ("DOUBLE", "VARCHAR", "TIMESTAMP WITH TIME ZONE"))
    fleet = duckdb.sql(f"""SELECT vehicle, count(*) FROM read_parquet('{out}/samples/**/*.parquet', hive_partitioning = true)
        WHERE sensor IS NOT NULL GROUP BY vehicle ORDER BY vehicle""").fetchall()
    check("one question reaches the fleet", [row[0] for row in fleet] == sorted(VEHICLES))


def csv_says_the_same(out_csv, out):
    for name in SETS:
        lines = Duck.rows(out_csv / name, "csv")
        check(f"{name} as CSV have as many rows", len(lines) == len(Duck.rows(out / name)))
    check("CSV instead of Parquet", not list(out_csv.glob("**/*.parquet")))


def nothing_is_written_over(folder, out):
    before = {path: path.stat().st_mtime_ns for path in out.glob("**/*.parquet")}
    refused = subprocess.run([PROGRAM, "export", str(out)], cwd=folder, capture_output=True, text=True, check=False)
    check("a second export is refused with what to do", refused.returncode == 2 and "--only-new" in refused.stderr)
    hingeline(folder, "export", str(out), "--only-new")
    check("nothing was touched", before == {path: path.stat().st_mtime_ns for path in out.glob("**/*.parquet")})
    check("nothing half-written stands there", not [p for p in out.glob("**/*") if p.name.startswith(".")])
    hingeline(folder, "export", str(out), "--overwrite", "--vehicle", "Bramble")
    changed = [path for path in out.glob("**/*.parquet") if before[path] != path.stat().st_mtime_ns]
    check("asked to, it writes those asked for anew", len(changed) == 3 and all("Bramble" in str(p) for p in changed))


def two_logbooks_are_read_as_one(folder, analyses):
    """The example of the guide, as it stands there: two logbooks with vehicles and runs of the same names."""
    other = folder.parent / f"{folder.name}-customer"
    try:
        other.mkdir()
        for part in ["logbook.toml", *VEHICLES]:
            copy = shutil.copytree if (folder / part).is_dir() else shutil.copy
            copy(folder / part, other / part)
        # One of them has only one of the vehicles.
        shutil.rmtree(other / VEHICLES[1])
        fleets = folder / "fleets"
        for name, logbook in [("garage", folder), ("customer", other)]:
            hingeline(folder, "--logbook", str(logbook), "export", f"fleets/logbook={name}")
        guide = (HERE.parent.parent / "host/guide/export.md").read_text(encoding="utf-8")
        [query] = [block.split("```")[0] for block in guide.split("```sql")[1:] if "fleets/" in block.split("```")[0]]
        asked = duckdb.sql(query.strip().rstrip(";").replace("'fleets/", f"'{fleets}/"))
        rows = [dict(zip(asked.columns, row)) for row in asked.fetchall()]
        told = [(r["logbook"], r["vehicle"]) for r in rows]
        check("DuckDB: the guide's query tells two logbooks apart", told == [("customer", VEHICLES[0]), *(("garage", v) for v in VEHICLES)])
        said = {v: a["axles"][0]["measured"]["roll_steer_rad_per_rad"]["value"] for v, a in analyses.items()}
        check("DuckDB: with what each measured", all(r["value"] == said[r["vehicle"]] and r["plus_minus"] > 0 for r in rows))
        both = polars.scan_parquet(f"{fleets}/*/samples/**/*.parquet", hive_partitioning=True)
        count = dict(both.group_by("logbook").agg(polars.len()).collect().iter_rows())
        check("Polars: readings of two logbooks are one data set", count["garage"] > count["customer"] > 10_000)
    finally:
        shutil.rmtree(other, ignore_errors=True)


def main():
    with tempfile.TemporaryDirectory() as made:
        folder = pathlib.Path(made)
        tables = make_logbook(folder)
        runs = {vehicle: next((folder / vehicle / "runs").iterdir()).name for vehicle in VEHICLES}
        analyses = {v: json.loads(hingeline(folder, "analyse", f"{v}/{run}", "--json")) for v, run in runs.items()}
        out, out_csv = folder / "fleet", folder / "fleet-csv"
        told = json.loads(hingeline(folder, "export", str(out), "--json"))
        hingeline(folder, "export", str(out_csv), "--csv")
        check("both runs are told", [r["vehicle"] for r in told["runs"]] == VEHICLES and told["unread"] == [])
        for engine in [Duck, Polars]:
            numbers_are_those_of_the_analysis(engine, out, analyses)
            readings_are_those_of_the_table(engine, out, tables)
            poses_are_those_of_one_file(engine, out, folder, runs)
        files_say_what_they_are(out, analyses)
        csv_says_the_same(out_csv, out)
        nothing_is_written_over(folder, out)
        two_logbooks_are_read_as_one(folder, analyses)


main()
