//! Reading plain and awkward logs (MB/s), finding laps, a whole review and its pages.

#[path = "../tests/driven/mod.rs"]
mod driven;
#[path = "peers/weekend.rs"]
mod weekend;

use std::hint::black_box;
use std::path::Path;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use encoding_rs::WINDOWS_1252;
use rayon::prelude::*;
use runtrue::demo::car::CarSpec;
use runtrue::demo::drive::Drive;
use runtrue::demo::manner::{Manner, TextManner, UnitManner};
use runtrue::demo::recorder::{Recorder, Rows};
use runtrue::demo::simulation::simulate;
use runtrue::demo::track::{Corner, Track};
use runtrue::evidence::RunEvidence;
use runtrue::import::columns::Hints;
use runtrue::import::read_bytes;
use runtrue::kept::KeptRuns;
use runtrue::laps;
use runtrue::laps::odometer::Odometer;
use runtrue::measure;
use runtrue::report::{pages, view};
use runtrue::review::{review, review_again};
use runtrue::units::Units;

fn rows() -> Rows {
    let car = CarSpec::tourer();
    let corner = |(start, length, speed)| Corner { start, length, speed };
    let track =
        Track { length: 120.0, corners: [(30.0, 4.0, 9.0), (55.0, 3.0, 11.0), (90.0, 5.0, 7.5)].map(corner).into() };
    Recorder::plain(100.0).sample(&simulate(&car, &track, &Drive::plain(&car), 5), 5)
}

fn reading(c: &mut Criterion) {
    let rows = rows();
    let awkward = Manner {
        delimiter: ';',
        decimal: ',',
        grouping: Some('.'),
        units: UnitManner::Row,
        text: TextManner::plain(WINDOWS_1252),
        crlf: true,
        preamble: vec!["Recording of run 7".into()],
        missing: Some(("--", 101)),
        ..Manner::default()
    };
    let mut group = c.benchmark_group("reading");
    for (name, bytes) in [("plain", Manner::default().write(&rows)), ("awkward", awkward.write(&rows))] {
        group.throughput(Throughput::Bytes(bytes.len() as u64));
        group.bench_function(name, |b| {
            b.iter(|| read_bytes(Path::new("x.csv"), black_box(&bytes), &Hints::default()).unwrap())
        });
    }
    group.finish();
    let log = read_bytes(Path::new("x.csv"), &Manner::default().write(&rows), &Hints::default()).unwrap().remove(0);
    c.bench_function("laps found in a log", |b| b.iter(|| laps::measure(Odometer::new(black_box(&log)), None, None)));
}

/// All answers of a run, its laps found already: 10 000 rows, and four times as many.
fn measuring(c: &mut Criterion) {
    let car = CarSpec::tourer();
    let run = driven::driven(&car, 5, |d| d.length = 480.0);
    let mut group = c.benchmark_group("measuring");
    for (name, rate) in [("10 000 rows", 20.0), ("40 000 rows", 80.0)] {
        let (log, laps, _) = run.answers(&Recorder::plain(rate), f64::INFINITY);
        let (plan, sheet, evidence) = (run.run_plan(), run.sheet(), RunEvidence::default());
        group.throughput(Throughput::Elements(log.rows() as u64));
        group.bench_function(name, |b| b.iter(|| measure::measure(black_box(&log), &laps, &plan, &sheet, &evidence)));
    }
    group.finish();
}

fn whole(c: &mut Criterion) {
    let weekend = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay");
    let mut group = c.benchmark_group("review");
    group.sample_size(20);
    group.bench_function("sample weekend", |b| b.iter(|| review(&weekend, &|_, _| {}).unwrap()));
    let reviewed = review(&weekend, &|_, _| {}).unwrap();
    let page = |index| pages::run(&view::run(&reviewed, index), Units::Metric).unwrap().len();
    group.bench_function("its pages", |b| {
        b.iter(|| {
            let runs: usize = (0..reviewed.runs.len()).into_par_iter().map(page).sum();
            runs + pages::weekend(&view::weekend(&reviewed), Units::Metric).unwrap().len()
        });
    });
    group.finish();
}

/// A note changed on one run of a folder of 40 that was reviewed before: the review and the run's page.
fn served(c: &mut Criterion) {
    let folder = tempfile::tempdir().unwrap();
    weekend::write_weekend(folder.path(), 40, 300.0).unwrap();
    let path = folder.path().join("weekend.toml");
    let sheet = std::fs::read_to_string(&path).unwrap();
    let mut kept = KeptRuns::default();
    review_again(folder.path(), &mut kept, &|_, _| {}).unwrap();
    let mut count = 0;
    let mut group = c.benchmark_group("served");
    group.sample_size(10);
    group.bench_function("one change in 40 runs", |b| {
        b.iter(|| {
            count += 1;
            let noted = format!("id = \"r03\"\nnote = \"change {count}\"");
            std::fs::write(&path, sheet.replace("id = \"r03\"", &noted)).unwrap();
            let reviewed = review_again(folder.path(), &mut kept, &|_, _| {}).unwrap();
            pages::run(&view::run(&reviewed, 3), Units::Metric).unwrap().len()
        })
    });
    group.finish();
}

criterion_group!(benches, reading, measuring, whole, served);
criterion_main!(benches);
