//! Shapes as files for other devices and programs, and back.

use rimbook::intake::{ReadOptions, read_any};
use rimbook::shape::boxing::Boxing;
use rimbook::shape::record::{TraceFile, parse};

use crate::shapes::{ellipse_radii, hole_table, records};
use crate::support::TestLab;

/// What the page of a shape saves.
async fn saved(lab: &TestLab, job: i64) -> Vec<(String, Vec<u8>)> {
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    let paths = page.attributes("a", "href").into_iter().filter(|path| path.contains("/shape/export?as="));
    let mut files = Vec::new();
    for path in paths {
        let bytes = lab.bytes(&path).await;
        files.push((path.rsplit('=').next().unwrap().to_owned(), bytes));
    }
    files
}

async fn upload(lab: &TestLab, job: i64, bytes: &[u8], other_job: i64) {
    let other_job = other_job.to_string();
    let fields = [("other_job", other_job.as_str())];
    let answer = lab.upload(&format!("/jobs/{job}/shape"), &fields, "file", "shape", bytes).await;
    assert_eq!(answer.status.as_u16(), 303, "{:?}", answer.texts(".error, .faults li"));
}

#[tokio::test]
async fn every_file_that_is_saved_is_read_back() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    // The left eye is a little smaller, and the right one has a slot of its own.
    let left = ellipse_radii().iter().map(|radius| radius * 99 / 100).collect();
    let file = records(Some("17.25"), &[("R", ellipse_radii()), ("L", left)]);
    let drill = "DO=B\r\nDRILL=B;-20;2;1.4\r\nDRILLE=R;C;20;-1;1.2;18;-1\r\n";
    upload(&lab, job, file.replace("DO=B\r\n", drill).as_bytes(), job).await;
    let holes = hole_table(&lab.get(&format!("/jobs/{job}/shape")).await);
    assert_eq!(holes.len(), 3);
    let sizes = |file: &TraceFile| {
        let size = file.outlines().as_ref().map(Boxing::of);
        [size.right.a_mm, size.right.b_mm, size.left.a_mm, size.left.b_mm, size.left.circumference_mm]
    };
    let files = saved(&lab, job).await;
    assert_eq!(files.len(), 7);
    for (format, bytes) in files {
        let read = read_any(&bytes, &ReadOptions::default()).unwrap_or_else(|why| panic!("{format}: {why}"));
        // The true figures: 50 by 40, 99 percent of it, its perimeter 0.99 · 141.81 (Ramanujan). A thousand radii in hundredths
        // of a millimeter tremble, which makes a perimeter longer by some hundredths.
        let want = [(50.0, 0.02), (40.0, 0.02), (49.5, 0.02), (39.6, 0.02), (140.39, 0.08)];
        for (found, (want, within)) in sizes(&read).into_iter().zip(want) {
            assert!((found - want).abs() < within, "{format}: {found} for {want}");
        }
        // Through the page, as a new user would bring it.
        let other = lab.given_job().await;
        upload(&lab, other, &bytes, job).await;
        let page = lab.get(&format!("/jobs/{other}/shape")).await;
        assert!(page.text("dl.across").contains("17.25"), "{format}: {}", page.text("dl.across"));
        if format != "points" {
            assert_eq!(hole_table(&page), holes, "{format}");
        }
    }
}

/// A file with what Rimbook does not interpret, and with a depth.
fn rich() -> String {
    let depth = ["12;-3;40;7"; 9].join("\r\nZ=");
    let file = records(Some("20.00"), &[("R", ellipse_radii()), ("L", ellipse_radii())]);
    let file = file.replace("DO=B\r\n", "DO=B\r\n_SHELF=third from the top\r\nFMFR=Fjordline\r\nFED=52.1;52.1\r\n");
    format!("{file}ZFMT=1;36;E;R;F\r\nZ={depth}\r\nSTHKFMT=1;2;E;L\r\nR=2200;2200\r\nT=210;220\r\n_LAST=1\r\n")
}

#[tokio::test]
async fn private_records_and_the_depth_are_written_back() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    upload(&lab, job, rich().as_bytes(), job).await;
    let came = parse(rich().as_bytes()).unwrap();
    let lab = lab.reopened().await;
    for form in ["text", "binary", "differences", "packed"] {
        let bytes = lab.bytes(&format!("/jobs/{job}/shape/export?as={form}")).await;
        let read = parse(&bytes).unwrap_or_else(|faults| panic!("{form}: {faults:?}"));
        assert_eq!((&read.traces, &read.depth), (&came.traces, &came.depth), "{form}");
        assert_eq!(read.job, Some(job.to_string()), "the number it is saved under");
        for label in ["_SHELF", "FMFR", "FED", "_LAST"] {
            assert_eq!(read.value(label), came.value(label), "{form} {label}");
        }
        let sets = |file: &TraceFile| {
            format!("{:?}", file.items.iter().filter(|item| format!("{item:?}").starts_with("Set")).collect::<Vec<_>>())
        };
        assert_eq!(sets(&read), sets(&came), "{form}");
        assert!(sets(&read).contains("STHKFMT"));
    }
    // With other holes it is the same outline; made larger it is another one, and what belonged to the old one is not written.
    lab.post(&format!("/jobs/{job}/shape/holes"), &[("holes", "temple 5 2 1.4")]).await.assert_status(303);
    let drilled = parse(&lab.bytes(&format!("/jobs/{job}/shape/export")).await).unwrap();
    assert_eq!((&drilled.depth, drilled.value("DRILLE")), (&came.depth, Some("R;C;-20.00;2.00;1.40")));
    lab.post(&format!("/jobs/{job}/shape/change"), &[("way", "box"), ("box_a", "52")]).await.assert_status(303);
    let grown = parse(&lab.bytes(&format!("/jobs/{job}/shape/export")).await).unwrap();
    assert_eq!((grown.value("_SHELF"), grown.value("FED")), (Some("third from the top"), None));
    assert_eq!((grown.value("HBOX"), grown.value("DRILLE")), (Some("52.00;52.00"), Some("R;C;-21.00;2.00;1.40")));
    assert!(grown.depth.right.is_none() && grown.warnings.is_empty());
    // A shape that no job uses any more has a file too.
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    let parent = page.attributes("#parent a", "href").remove(0);
    let parent = parse(&lab.bytes(&format!("{parent}/export?as=text")).await).unwrap();
    assert_eq!((parent.value("_SHELF"), &parent.depth), (Some("third from the top"), &came.depth));
}
