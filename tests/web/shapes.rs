//! Putting a shape on file, seeing it, getting it back.

use axum::body::Body;
use axum::http::{Request, header};

use crate::lab::{fields, send};
use crate::support::{Answer, TestLab, encode};

/// An ellipse 50 × 40 as a table of 0.01 mm radii: x²/25² + y²/20² = 1.
pub fn ellipse_radii() -> Vec<i32> {
    let radius = |i: i32| {
        let t = f64::from(i).to_radians();
        1.0 / ((t.cos() / 25.0).powi(2) + (t.sin() / 20.0).powi(2)).sqrt()
    };
    (0..360).map(|i| (radius(i) * 100.0).round() as i32).collect()
}

/// A trace file of one or both eyes.
pub fn records(dbl: Option<&str>, eyes: &[(&str, Vec<i32>)]) -> String {
    // A name of the tracer's own: no job is called that.
    let mut text = "JOB=\"A7\"\r\nDO=B\r\n".to_owned();
    if let Some(dbl) = dbl {
        text += &format!("DBL={dbl}\r\n");
    }
    for (side, radii) in eyes {
        text += &format!("TRCFMT=1;{};E;{side};F\r\n", radii.len());
        for line in radii.chunks(10) {
            text += &format!("R={}\r\n", line.iter().map(i32::to_string).collect::<Vec<_>>().join(";"));
        }
    }
    text
}

/// Puts the ellipse on file, both eyes alike, DBL 20.
pub async fn keep_ellipse(lab: &TestLab, job: i64) {
    let file = records(Some("20.00"), &[("R", ellipse_radii()), ("L", ellipse_radii())]);
    upload(lab, job, &file, &[]).await.assert_status(303);
}

async fn upload(lab: &TestLab, job: i64, file: &str, fields: &[(&str, &str)]) -> Answer {
    lab.upload(&format!("/jobs/{job}/shape"), fields, "file", "frame.trc", file.as_bytes()).await
}

async fn paste(lab: &TestLab, job: i64, fields: &[(&str, &str)]) -> Answer {
    lab.upload(&format!("/jobs/{job}/shape"), fields, "file", "", b"").await
}

#[tokio::test]
async fn a_trace_file_is_kept_and_shown() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let empty = lab.get(&format!("/jobs/{job}/shape")).await;
    assert!(empty.assert_status(200).text(".empty").contains("No shape is on file"));
    let file = records(Some("20.00"), &[("R", ellipse_radii()), ("L", ellipse_radii())]);
    let sent = upload(&lab, job, &file, &[]).await;
    assert_eq!(sent.assert_status(303).location, format!("/jobs/{job}/lenses"), "nothing is doubtful");
    let lab = lab.reopened().await;
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    // An ellipse 50 × 40: A 50, B 40, ED 50 along 0°; perimeter 141.81 (Ramanujan), area π·25·20 = 1570.8.
    for eye in ["right", "left"] {
        let figures = page.texts(&format!(".eye-{eye} .figure .num"));
        assert_eq!(figures[..4], ["50.00", "40.00", "50.00", "0.0"], "{eye}");
        assert!((figures[4].parse::<f64>().unwrap() - 141.81).abs() < 0.02, "{figures:?}");
        assert!((figures[5].parse::<f64>().unwrap() - 1570.8).abs() < 0.6, "{figures:?}");
    }
    assert_eq!(page.texts("dl.across .num"), ["70.00", "20.00"], "frame PD = 50 + 20");
    assert!(page.text("dl.across").contains("from the trace file"));
    assert_eq!(page.texts(".notice"), Vec::<String>::new());
    assert!(page.text("a.primary").contains("take the lenses in hand"));
    assert_eq!(page.attributes(".drawing svg", "viewBox").len(), 2);
    assert_eq!(lab.store.get_job(job).await.unwrap().history.last().unwrap().note, "frame.trc");
    // The very bytes come back, as something to save and not to show.
    let original = lab.get(&format!("/jobs/{job}/shape/original")).await;
    assert_eq!(original.assert_status(200).body, file);
    assert_eq!(original.headers[header::CONTENT_DISPOSITION], "attachment; filename=\"frame.trc\"");
    assert_eq!(original.headers[header::CONTENT_TYPE], "text/plain; charset=utf-8");
    assert_eq!(original.headers[header::X_CONTENT_TYPE_OPTIONS], "nosniff");
    let export = lab.get(&format!("/jobs/{job}/shape/export")).await;
    let read = rimbook::shape::record::parse(export.body.as_bytes()).unwrap();
    assert_eq!((read.dbl_mm, read.traces.left.radii()), (Some(20.0), &ellipse_radii()[..]));
}

#[tokio::test]
async fn a_file_that_names_another_job_is_asked_about() {
    let lab = TestLab::new().await;
    let (first, second) = (lab.given_job().await, lab.given_job().await);
    let file = |job: i64| records(None, &[("R", ellipse_radii())]).replace("\"A7\"", &job.to_string());
    let asked = upload(&lab, second, &file(first), &[("dbl", "19")]).await;
    let sentence = asked.assert_status(422).text("#other_job");
    assert!(sentence.contains(&format!("named for job {first}")), "{sentence}");
    assert_eq!(asked.attributes("#dbl", "value"), ["19"]);
    assert!(lab.get(&format!("/jobs/{second}/shape")).await.text(".empty").contains("No shape is on file"));
    // A box ticked for one job is no answer about another.
    let wrong = [("other_job", "7"), ("dbl", "19")];
    upload(&lab, second, &file(first), &wrong).await.assert_status(422);
    upload(&lab, second, &file(first), &[("other_job", &first.to_string())]).await.assert_status(303);
    // Its own number, and one that no job has, are not asked about.
    upload(&lab, second, &file(second), &[]).await.assert_status(303);
    upload(&lab, second, &file(99_999_999), &[]).await.assert_status(303);
}

#[tokio::test]
async fn one_eye_is_mirrored_and_the_bridge_is_the_stamped_one() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    upload(&lab, job, &records(None, &[("L", ellipse_radii())]), &[]).await.assert_status(303);
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    assert!(page.text(".eye-right .eye-head").contains("not traced"));
    assert!(!page.text(".eye-left .eye-head").contains("not traced"));
    assert!(page.text("dl.across").contains("the bridge stamped on the frame is used"));
}

#[tokio::test]
async fn right_and_left_that_disagree_are_told() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let larger: Vec<i32> = ellipse_radii().iter().map(|r| r + 100).collect();
    let file = records(Some("16.00"), &[("R", ellipse_radii()), ("L", larger)]);
    upload(&lab, job, &("HBOX=52.00;52.00\r\n".to_owned() + &file), &[]).await.assert_status(303);
    let said = lab.get(&format!("/jobs/{job}/shape")).await.texts(".notice.caution");
    assert!(said[0].contains("Right and left differ") && said[0].contains("2.00 mm narrower"), "{said:?}");
    assert!(said[0].contains("o’clock on the right eye, the outlines are 1.00 mm apart"), "{said:?}");
    assert!(said.iter().any(|s| s.contains("left eye is traced 52.00 mm wide")), "{said:?}");
    assert!(said.iter().any(|s| s.contains("16.00 mm, but the frame is stamped 20.0")), "{said:?}");
    assert!(said.iter().any(|s| s.contains("HBOX of the right eye says 52.00 mm")), "{said:?}");
}

#[tokio::test]
async fn a_table_may_be_pasted_for_either_eye() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let table = ellipse_radii().iter().map(|r| format!("{:.2}", f64::from(*r) / 100.0)).collect::<Vec<_>>().join("\n");
    let fields = [("eye", "left"), ("dbl", "19.5"), ("table", table.as_str())];
    paste(&lab, job, &fields).await.assert_status(303);
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    assert!(page.text(".eye-right .eye-head").contains("not traced"));
    assert_eq!(page.texts("dl.across .num"), ["69.50", "19.50"]);
    assert!(page.text("dl.across").contains("as typed"));
}

#[tokio::test]
async fn a_broken_file_is_refused_line_by_line_and_changes_nothing() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let broken = "DBL=wide\r\nTRCFMT=1;36;E;R;F\r\nR=2200;99999;x\r\n";
    let page = upload(&lab, job, broken, &[("dbl", "18")]).await;
    page.assert_status(422);
    let faults = page.texts("ul.faults li");
    assert!(faults[0].starts_with("Line 1: ") && faults[0].contains("“wide” is not a number"), "{faults:?}");
    assert!(faults.iter().any(|f| f.starts_with("Line 3: ") && f.contains("“x”")), "{faults:?}");
    assert!(page.text("#file-error").ends_with("more)"), "{}", page.text("#file-error"));
    assert_eq!(page.attributes("#dbl", "value"), ["18"]);
    assert_eq!(page.texts(".eye-right .num")[0], "50.00", "the kept shape is still there");
    // Pasted text that is wrong stays in its field.
    let page = paste(&lab, job, &[("table", "22 22 zz"), ("eye", "right")]).await;
    assert_eq!(page.assert_status(422).text("textarea#table"), "22 22 zz");
    assert_eq!(page.attributes("#eye-right", "checked").len(), 1);
    for (fields, field, sentence) in [
        (vec![], "file", "Choose a trace file"),
        (vec![("table", "22"), ("dbl", "wide")], "dbl", "not a number"),
        (vec![("table", "22 22 22 22 22 22 22 22"), ("dbl", "4")], "dbl", "between 5 and 40"),
        (vec![("table", "R\n22 22 22 22 22 22 22 22"), ("eye", "left")], "eye", "names its own eye"),
    ] {
        let page = paste(&lab, job, &fields).await;
        assert!(page.assert_status(422).text(&format!("#{field}-error")).contains(sentence), "{fields:?}");
    }
    let both = upload(&lab, job, &records(None, &[("R", ellipse_radii())]), &[("table", "22")]).await;
    assert!(both.assert_status(422).text("#table-error").contains("one of them"));
    assert_eq!(lab.count("job_shape", job).await, 1);
}

#[tokio::test]
async fn a_file_that_is_too_large_gets_a_sentence() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let page = upload(&lab, job, &"R=2200\r\n".repeat(200_000), &[]).await;
    let said = page.assert_status(422).text("ul.faults li");
    assert!(said.contains("1600000 bytes"), "{said}");
    // A browser always says how much it sends; this is what too large a photograph gets.
    let request = Request::post(format!("/jobs/{job}/shape"))
        .header(header::HOST, "localhost")
        .header("sec-fetch-site", "same-origin")
        .header(header::CONTENT_LENGTH, "26000000")
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge")
        .body(Body::from(vec![b'x'; 26_000_000]))
        .unwrap();
    let page = lab.send(request).await;
    assert!(page.assert_status(413).text("main").contains("larger than 24 MB"));
}

#[tokio::test]
async fn a_second_upload_corrects_and_keeps_the_first() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let round = records(Some("20.00"), &[("R", vec![2400; 36])]);
    upload(&lab, job, &round, &[]).await.assert_status(303);
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    assert_eq!(page.texts(".eye-right .num")[0], "48.00");
    assert!(page.text("dl.across").contains("1 earlier shape is kept"));
}

#[tokio::test]
async fn an_earlier_shape_is_used_again_and_nothing_is_removed() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let (path, earlier) = (format!("/jobs/{job}/shape"), format!("/jobs/{job}/shape/earlier"));
    keep_ellipse(&lab, job).await;
    assert!(lab.get(&path).await.texts("#earlier").is_empty());
    let round = records(Some("20.00"), &[("R", vec![2400; 36])]);
    upload(&lab, job, &round, &[]).await.assert_status(303);
    let page = lab.get(&path).await;
    let row = page.text("#earlier .acts");
    assert!(row.contains("frame.trc") && row.contains("A 50.00, B 40.00, DBL 20.00 mm"), "{row}");
    let fields = crate::addresses::fields_of(&page, &earlier);
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    // What never was this job's is not its earlier shape; nor is the one that is used.
    let other = lab.given_job().await;
    keep_ellipse(&lab, other).await;
    for shape in [lab.store.get_job(other).await.unwrap().shape, lab.store.get_job(job).await.unwrap().shape] {
        lab.post(&earlier, &[("earlier", &shape.unwrap().to_string())]).await.assert_status(404);
    }
    let kept = lab.count("job_shape", job).await;
    let (first, second) = tokio::join!(lab.post_as_is(&earlier, &fields), lab.post_as_is(&earlier, &fields));
    assert_eq!(first.assert_status(303).location, second.assert_status(303).location);
    assert_eq!(
        (lab.count("job_shape", job).await, lab.count("shape", job).await),
        (kept + 1, 2),
        "a use, and no shape"
    );

    let lab = lab.reopened().await;
    let page = lab.get(&path).await;
    assert_eq!(page.texts(".eye-right .num")[0], "50.00");
    assert!(page.text("#earlier .acts").contains("A 48.00"), "{}", page.text("#earlier"));
    assert_eq!(page.texts("#earlier .acts").len(), 1, "the one that is used is no earlier one");
    let note = lab.store.get_job(job).await.unwrap().history.last().unwrap().note.clone();
    assert_eq!(note, "frame.trc, used again");
    // A form that was opened before is about another shape: it is asked about.
    let outdated = lab.post_as_is(&earlier, &[("key", &format!("shape-{job}-1")), fields[1]]).await;
    assert!(outdated.assert_status(422).text("#earlier-error").contains("newer shape"), "{}", outdated.text("main"));
    assert_eq!(lab.get(&path).await.texts(".eye-right .num")[0], "50.00");
}

#[tokio::test]
async fn the_shape_of_a_canceled_job_is_shown_and_not_changed() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let round = records(Some("20.00"), &[("R", vec![2400; 36])]);
    upload(&lab, job, &round, &[]).await.assert_status(303);
    let path = format!("/jobs/{job}/shape");
    let posting = async |lab: &TestLab| lab.get(&path).await.attributes("main form[method=post]", "action");
    assert_eq!(posting(&lab).await.len(), 4, "the holes, an earlier one, another one, a newer one");
    lab.post(&format!("/jobs/{job}/cancellation"), &[("asked_by", "customer"), ("reason", "found the old pair")])
        .await
        .assert_status(303);
    let page = lab.get(&path).await;
    assert!(posting(&lab).await.is_empty(), "{:?}", posting(&lab).await);
    assert_eq!(page.assert_status(200).texts(".eye-right .num")[0], "48.00");
    assert!(page.texts("main .notice").join(" ").contains("was canceled"), "{}", page.text("main"));
    assert!(page.text("#earlier").contains("A 50.00"), "what it had before is still read");
    let never = lab.given_job().await;
    lab.post(&format!("/jobs/{never}/cancellation"), &[("asked_by", "customer"), ("reason", "found the old pair")])
        .await
        .assert_status(303);
    let page = lab.get(&format!("/jobs/{never}/shape")).await;
    assert!(page.attributes("main form[method=post]", "action").is_empty());
    assert!(page.text("main").contains("No shape was put on file"), "{}", page.text("main"));
}

/// Each form of the page keeps what is typed in it, also when another one of them is refused.
#[tokio::test]
async fn what_is_typed_in_each_form_of_the_page_survives_a_reload() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let path = format!("/jobs/{job}/shape");
    let page = lab.get(&path).await;
    let draft = |end: &str| page.attributes(&format!("form[action='{path}{end}']"), "data-draft")[0].clone();
    let typed: [(&str, &[(&str, &str)]); 3] = [
        ("", &[("dbl", "17.5"), ("unit", "inch")]),
        ("/holes", &[("holes_on", "both"), ("holes", "temple 3.5 2 1.4")]),
        ("/change", &[("way", "box"), ("box_a", "51")]),
    ];
    for (end, fields) in typed {
        lab.post(&format!("/drafts/{}", draft(end)), fields).await.assert_status(204);
    }
    let refused = lab.post(&format!("{path}/change"), &[("way", "circumference"), ("circumference", "x")]).await;
    refused.assert_status(422);
    for (page, width) in [(lab.get(&path).await, "51"), (refused, "")] {
        assert_eq!(page.attributes("#dbl", "value"), ["17.5"]);
        assert_eq!(page.attributes("#unit [selected]", "value"), ["inch"]);
        assert_eq!(page.text("#holes").trim(), "temple 3.5 2 1.4");
        assert_eq!(page.attributes("#box_a", "value"), [width]);
        assert_eq!(page.attributes("details:has(#box_a)", "open").len(), 1, "it is seen");
    }
}

#[tokio::test]
async fn new_lenses_use_the_shape_of_the_earlier_job() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let again = lab.given_relens(job).await;
    let page = lab.get(&format!("/jobs/{again}/shape")).await;
    assert_eq!(page.texts(".eye-right .num")[..2], ["50.00", "40.00"]);
    assert!(page.text("dl.across").contains(&format!("from job {job}")));
    // A correction is the new job's own; the earlier job keeps its shape.
    let round = records(Some("20.00"), &[("R", vec![2400; 36])]);
    upload(&lab, again, &round, &[]).await.assert_status(303);
    assert!(!lab.get(&format!("/jobs/{again}/shape")).await.text("dl.across").contains("from job"));
    assert_eq!(lab.get(&format!("/jobs/{job}/shape")).await.texts(".eye-right .num")[0], "50.00");
}

#[tokio::test]
async fn the_same_form_sent_twice_keeps_one_shape() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let key = lab.get(&format!("/jobs/{job}/shape")).await.attributes("form[data-draft]", "data-draft").remove(0);
    let file = records(Some("20.00"), &[("R", ellipse_radii())]);
    for page in ["lenses", "shape"] {
        let sent = upload(&lab, job, &file, &[("key", &key)]).await;
        assert_eq!(sent.assert_status(303).location, format!("/jobs/{job}/{page}"));
    }
    assert_eq!(lab.count("job_shape", job).await, 1);
    // After the Back button the form has its old key; another file is another shape all the same.
    let right = records(Some("21.00"), &[("R", ellipse_radii())]);
    upload(&lab, job, &right, &[("key", &key)]).await.assert_status(303);
    let job = lab.store.get_job(job).await.unwrap();
    assert_eq!(lab.store.find_job_shape(&job).await.unwrap().unwrap().dbl.to_string(), "21.00");
}

#[tokio::test]
async fn what_is_typed_survives_a_reload() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let path = format!("/jobs/{job}/shape");
    let key = lab.get(&path).await.attributes("form[data-draft]", "data-draft").remove(0);
    lab.post(&format!("/drafts/{key}"), &[("key", &key), ("dbl", "17.5"), ("eye", "left"), ("table", "21.5\n21.6")])
        .await;
    let lab = lab.reopened().await;
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("#dbl", "value"), ["17.5"]);
    assert_eq!(page.text("textarea#table"), "21.5 21.6");
    assert_eq!(page.attributes("#eye-left", "checked").len(), 1);
}

#[tokio::test]
async fn other_sites_and_unknown_jobs_are_refused() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let request = Request::post(format!("/jobs/{job}/shape"))
        .header(header::HOST, "localhost")
        .header("sec-fetch-site", "cross-site")
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(Body::from(encode(&[("table", "22")])))
        .unwrap();
    lab.send(request).await.assert_status(403);
    lab.get("/jobs/77/shape").await.assert_status(404);
    lab.get(&format!("/jobs/{job}/shape/original")).await.assert_status(404);
}

#[tokio::test]
async fn a_shape_made_from_another_names_it_and_has_the_size_asked_for() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let path = format!("/jobs/{job}/shape/change");
    let first = lab.store.find_job_shape(&lab.store.get_job(job).await.unwrap()).await.unwrap().unwrap();
    lab.post(&path, &[("way", "circumference"), ("circumference", "144.00")]).await.assert_status(303);
    let lab = lab.reopened().await;
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    let around: f64 = page.texts(".eye-right .figure .num")[4].parse().unwrap();
    assert!((around - 144.0).abs() <= 0.02, "{around}");
    assert!(page.text("dl.across").contains("from an earlier shape"));
    let child = lab.store.find_job_shape(&lab.store.get_job(job).await.unwrap()).await.unwrap().unwrap();
    assert_eq!(child.parent, Some(first.id));
    lab.post(&path, &[("way", "box"), ("box_a", "52"), ("box_b", "")]).await.assert_status(303);
    assert_eq!(lab.get(&format!("/jobs/{job}/shape")).await.texts(".eye-left .figure .num")[..2], ["52.00", "41.60"]);
    lab.post(&path, &[("way", "smooth")]).await.assert_status(303);
    for (fields, field, says) in [
        (vec![("way", "circumference"), ("circumference", "wide")], "circumference", "not a number"),
        (vec![("way", "box"), ("box_a", " "), ("box_b", "")], "box_a", "a width, a height, or both"),
        (vec![("way", "box"), ("box_a", "99"), ("box_b", "")], "box_a", "between 15 and 90"),
    ] {
        let page = lab.post(&path, &fields).await;
        assert!(page.assert_status(422).text(&format!("#{field}-error")).contains(says), "{fields:?}");
    }
    assert_eq!(lab.count("job_shape", job).await, 4);
}

#[tokio::test]
async fn a_shape_that_is_on_file_already_is_named() {
    let lab = TestLab::new().await;
    let first = lab.given_job().await;
    keep_ellipse(&lab, first).await;
    assert!(lab.get(&format!("/jobs/{first}/shape")).await.texts("#alike").is_empty(), "a shape is not its own twin");
    let second = lab.given_job_in_the_frame_of(first).await;
    // All radii 0.06 mm longer: 0.06 mm apart everywhere.
    let larger: Vec<i32> = ellipse_radii().iter().map(|r| r + 6).collect();
    upload(&lab, second, &records(Some("20.00"), &[("R", larger.clone()), ("L", larger)]), &[])
        .await
        .assert_status(303);
    let said = lab.get(&format!("/jobs/{second}/shape")).await.text("#alike");
    assert!(said.contains(&format!("job {first}, 0.06 mm apart")), "{said}");
    let similar = format!("/jobs/{second}/shape/similar");
    assert!(lab.get(&similar).await.text("#similar tbody").contains("0.06 mm apart"));
    // A job with several shapes is named once, by the nearest.
    let nearer: Vec<i32> = ellipse_radii().iter().map(|r| r + 2).collect();
    upload(&lab, first, &records(Some("20.00"), &[("R", nearer)]), &[]).await.assert_status(303);
    let rows = lab.get(&similar).await.texts("#similar tbody tr");
    assert_eq!(rows.len(), 1, "{rows:?}");
    assert!(rows[0].contains("Copperline Tern") && rows[0].contains("0.04 mm apart"), "{rows:?}");
    let round = records(Some("20.00"), &[("R", vec![2400; 72])]);
    upload(&lab, second, &round, &[]).await.assert_status(303);
    assert!(lab.get(&format!("/jobs/{second}/shape")).await.texts("#alike").is_empty(), "a circle is no ellipse");
    assert!(lab.get(&similar).await.texts("#similar").is_empty(), "a circle is no ellipse");
    // The ellipse again, a tenth larger.
    let third = lab.given_job_in_the_frame_of(first).await;
    let larger: Vec<i32> = ellipse_radii().iter().map(|r| r + r / 10).collect();
    upload(&lab, third, &records(Some("20.00"), &[("R", larger)]), &[]).await.assert_status(303);
    let similar = format!("/jobs/{third}/shape/similar");
    assert!(lab.get(&similar).await.texts("#similar").is_empty(), "of another size");
    let said = lab.get(&format!("{similar}?may=have_another_size")).await.text("#similar tbody");
    assert!(said.contains(&first.to_string()) && said.contains("−9.1 %"), "{said}");
}

#[tokio::test]
async fn the_shape_of_another_frame_of_the_model_can_be_used() {
    let lab = TestLab::new().await;
    let first = lab.given_job().await;
    keep_ellipse(&lab, first).await;
    let second = lab.given_job_in_the_frame_of(first).await;
    let page = lab.get(&format!("/jobs/{second}/shape")).await;
    assert!(page.text("section button").contains(&format!("the shape of job {first}")));
    assert!(page.text("#frame-shapes ~ form").contains("A 50.00, B 40.00, DBL 20.00 mm"), "{}", page.text("main"));
    let path = format!("/jobs/{second}/shape/loan");
    lab.post(&path, &[("other", "77")]).await.assert_status(404);
    lab.post(&path, &[("other", &first.to_string())]).await.assert_status(303);
    let page = lab.get(&format!("/jobs/{second}/shape")).await;
    assert_eq!(page.texts(".eye-right .figure .num")[0], "50.00");
    let first_page = lab.get(&format!("/jobs/{first}/shape")).await;
    assert!(first_page.text("dl.across").contains(&format!("job {second}")));
}

#[tokio::test]
async fn a_corner_that_chips_and_a_hollow_no_wheel_reaches_are_told() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    // r = 22 - 4 cos 3t: hollows of 18/(36/18 - 1) = 18 mm radius at their middle (calculus). A square has corners of no
    // radius.
    let waves =
        (0..720).map(|i| (2200.0 - 400.0 * (3.0 * f64::from(i) * 0.5).to_radians().cos()).round() as i32).collect();
    let waves = records(Some("20.00"), &[("R", waves)]);
    upload(&lab, job, &waves, &[]).await.assert_status(303);
    let said = lab.get(&format!("/jobs/{job}/shape")).await.texts(".notice.caution");
    assert!(said.iter().any(|s| s.contains("a hollow of") && s.contains("cannot cut it")), "{said:?}");
    let square = |i: i32| {
        let (sin, cos) = f64::from(i).to_radians().sin_cos();
        (2000.0 / sin.abs().max(cos.abs())).round() as i32
    };
    upload(&lab, job, &records(Some("20.00"), &[("R", (0..360).map(square).collect())]), &[]).await.assert_status(303);
    let said = lab.get(&format!("/jobs/{job}/shape")).await.texts(".notice.caution");
    assert!(said.iter().any(|s| s.contains("it may chip")), "{said:?}");
    // What the wheel cuts is set on the lab's page.
    set_lab(&lab, "tight_corner", "0").await;
    let said = lab.get(&format!("/jobs/{job}/shape")).await.texts(".notice.caution");
    assert!(!said.iter().any(|s| s.contains("it may chip")), "{said:?}");
    set_lab(&lab, "wheel_radius", "12.5").await;
    upload(&lab, job, &waves, &[]).await.assert_status(303);
    let said = lab.get(&format!("/jobs/{job}/shape")).await.texts(".notice.caution");
    assert!(!said.iter().any(|s| s.contains("cannot cut it")), "{said:?}");
    set_lab(&lab, "wheel_radius", "40").await;
    let said = lab.get(&format!("/jobs/{job}/shape")).await.texts(".notice.caution");
    assert!(said.iter().any(|s| s.contains("a wheel of 40 mm radius cannot cut it")), "{said:?}");
}

async fn set_lab(lab: &TestLab, field: &str, typed: &str) {
    let page = lab.get("/lab").await;
    send(lab, "/lab", &fields(&page, &[(field, typed)])).await.assert_status(303);
}

/// The extent of the points of a path of `M`, `L` and `Z`: from the left, the top, to the right, the bottom.
fn extent(path: &str) -> [f64; 4] {
    let numbers: Vec<f64> =
        path.split(|c: char| "MLZ ".contains(c)).filter(|n| !n.is_empty()).map(|n| n.parse().unwrap()).collect();
    numbers.chunks(2).fold([f64::MAX, f64::MAX, f64::MIN, f64::MIN], |e, p| {
        [e[0].min(p[0]), e[1].min(p[1]), e[2].max(p[0]), e[3].max(p[1])]
    })
}

/// The width and height of a drawing in millimeters on paper for each unit of its window.
fn scales(page: &Answer, selector: &str) -> Vec<[f64; 2]> {
    // Whole CSS pixels, so that a browser does not stretch the drawing.
    let mm = |text: &String| f64::from(text.strip_suffix("px").unwrap().parse::<u32>().unwrap()) * 25.4 / 96.0;
    let window = page.attributes(selector, "viewBox").into_iter().map(|v| {
        let numbers: Vec<f64> = v.split(' ').map(|n| n.parse().unwrap()).collect();
        [numbers[2], numbers[3]]
    });
    let widths = page.attributes(selector, "width").iter().map(mm).collect::<Vec<_>>();
    let heights = page.attributes(selector, "height").iter().map(mm).collect::<Vec<_>>();
    window.zip(widths).zip(heights).map(|((v, w), h)| [w / v[0], h / v[1]]).collect()
}

#[tokio::test]
async fn the_prints_of_a_shape_are_at_true_size() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    for (asked, class) in [("", "sheet-letter"), ("?paper=a4", "sheet-a4")] {
        for sheet in ["outline-sheet", "blocking-sheet", "strip"] {
            let page = lab.get(&format!("/jobs/{job}/shape/{sheet}{asked}")).await;
            assert_eq!(page.assert_status(200).texts(&format!(".{class}")).len(), 1, "{sheet}{asked}");
            let scales = scales(&page, ".sheet svg[viewBox]");
            assert!(scales.len() >= 2, "a drawing and the ruler");
            assert!(scales.iter().flatten().all(|s| (s - 1.0).abs() < 1e-6), "{sheet}{asked}: {scales:?}");
            assert!(page.attributes(".ruler-line path", "d")[0].starts_with("M1 5H51.00M1 6H51.80"), "50 mm and 2 in");
        }
    }
    // An ellipse of 50 by 40.
    let page = lab.get(&format!("/jobs/{job}/shape/outline-sheet")).await;
    for path in page.attributes(".true-size path[stroke-width='0.35']", "d") {
        let [left, top, right, bottom] = extent(&path);
        assert!((right - left - 50.0).abs() < 0.1 && (bottom - top - 40.0).abs() < 0.1, "{path}");
    }
    assert!(page.text("article").contains("141.8"), "its perimeter, Ramanujan: 141.81");
    // The strip: from line to line as long as the perimeter.
    let page = lab.get(&format!("/jobs/{job}/shape/strip")).await;
    let ends = page.attributes("path.ends", "d");
    assert_eq!(ends.len(), 2);
    for end in ends {
        let long: f64 = end.strip_prefix("M0 0V5M").unwrap().split(' ').next().unwrap().parse().unwrap();
        assert!((long - 141.81).abs() < 0.02, "{end}");
    }
}

#[tokio::test]
async fn the_blocking_sheet_says_where_the_marks_lie() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let page = lab.get(&format!("/jobs/{job}/shape/blocking-sheet")).await;
    // Frame PD 70, pupils 31 and 33: 4 in and 2 in. The height of 20 is half of B 40. In is to the right for the right eye.
    let (x, y) = (page.attributes("circle.mark", "cx"), page.attributes("circle.mark", "cy"));
    assert_eq!(x, ["-12.000", "4.000", "20.000", "-18.000", "-2.000", "14.000"]);
    assert!(y.iter().all(|y| y.parse::<f64>().unwrap() == 0.0), "{y:?}");
    assert_eq!(page.texts(".eye .key dd"), ["4.00 mm in", "0.00 mm", "2.00 mm in", "0.00 mm"]);
    // The blank goes around the middle mark: there is no prism.
    assert_eq!(page.attributes("circle.uncut", "cx"), ["4.000", "-2.000"]);
    // Axis 95 leans to the left at its top, 80 to the right; each goes through its middle mark.
    for ((axis, middle), leans) in page.attributes("path.axis-line", "d").iter().zip([4.0, -2.0]).zip([-1.0, 1.0]) {
        let [left, _, right, _] = extent(axis);
        assert!(((left + right) / 2.0 - middle).abs() < 0.01, "{axis}");
        let numbers: Vec<f64> = axis.split(|c: char| "ML ".contains(c)).filter_map(|n| n.parse().ok()).collect();
        let (x, y) = (numbers[2] - numbers[0], numbers[1] - numbers[3]);
        assert!(y > 0.0 && x * leans > 0.0, "{axis}");
    }
    assert_eq!(page.texts(".blocking text"), ["R", "L"]);
    let none = lab.given_job().await;
    lab.get(&format!("/jobs/{none}/shape/blocking-sheet")).await.assert_status(404);
}

#[tokio::test]
async fn a_shape_is_saved_in_every_format() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    let paths: Vec<String> =
        page.attributes("a", "href").into_iter().filter(|path| path.contains("/export?as=")).collect();
    assert_eq!(paths.len(), 7);
    for path in &paths {
        let file = lab.get(path).await;
        let saved = file.assert_status(200).headers[header::CONTENT_DISPOSITION].to_str().unwrap().to_owned();
        assert!(saved.starts_with("attachment; "), "{saved}");
    }
    for form in ["text", "binary", "differences", "packed"] {
        let bytes = lab.bytes(&format!("/jobs/{job}/shape/export?as={form}")).await;
        let read = rimbook::shape::record::parse(&bytes).unwrap();
        assert_eq!((read.dbl_mm, read.traces.left.radii()), (Some(20.0), &ellipse_radii()[..]), "{form}");
        assert_eq!(read.job, Some(job.to_string()));
    }
    // Read by general libraries: the right eye is 50 wide around -35, the left one around 35.
    let svg = lab.get(&format!("/jobs/{job}/shape/export?as=svg")).await.body;
    let tree = usvg::Tree::from_str(&svg, &usvg::Options::default()).unwrap();
    let boxes: Vec<_> = ["right", "left"].iter().map(|id| tree.node_by_id(id).unwrap().abs_bounding_box()).collect();
    // 96 dots an inch.
    let mm = |px: f32| f64::from(px) * 25.4 / 96.0;
    for b in &boxes {
        assert!((mm(b.width()) - 50.0).abs() < 0.02 && (mm(b.height()) - 40.0).abs() < 0.02, "{b:?}");
    }
    assert!((mm(boxes[1].x() - boxes[0].x()) - 70.0).abs() < 0.02, "{boxes:?}");
    let bytes = lab.bytes(&format!("/jobs/{job}/shape/export?as=dxf")).await;
    let drawing = dxf::Drawing::load(&mut &bytes[..]).unwrap();
    let lines: Vec<_> = drawing.entities().collect();
    assert_eq!(lines.len(), 2);
    for (line, middle) in lines.iter().zip([-35.0, 35.0]) {
        let dxf::entities::EntityType::Polyline(polyline) = &line.specific else { panic!("{line:?}") };
        let x: Vec<f64> = polyline.vertices().map(|v| v.location.x).collect();
        let (low, high) = (x.iter().copied().fold(f64::MAX, f64::min), x.iter().copied().fold(f64::MIN, f64::max));
        assert!(polyline.is_closed());
        assert!((high - low - 50.0).abs() < 0.02 && ((high + low) / 2.0 - middle).abs() < 0.02, "{low} {high}");
    }
    let points = lab.get(&format!("/jobs/{job}/shape/export?as=points")).await.body;
    assert_eq!(points.lines().count(), 1 + 2 * 360);
    lab.get(&format!("/jobs/{job}/shape/export?as=pdf")).await.assert_status(404);
}

#[tokio::test]
async fn parents_and_children_are_linked() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let made = lab.post(&format!("/jobs/{job}/shape/change"), &[("way", "box"), ("box_a", "51")]).await;
    made.assert_status(303);
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    assert!(page.text("#parent").contains(&format!("the shape as traced, job {job}")));
    let parent = lab.get(&page.attributes("#parent a", "href")[0]).await;
    assert_eq!(parent.assert_status(200).texts(".eye-right .figure .num")[0], "50.00");
    assert!(parent.text("#used-by").contains(&job.to_string()));
    let child = lab.get(&parent.attributes("#children a", "href")[0]).await;
    assert_eq!(child.texts(".eye-right .figure .num")[0], "51.00");
    assert!(parent.text("#children").contains("made larger or smaller"));
    let path = parent.attributes("a", "href").into_iter().find(|path| path.ends_with("export?as=text")).unwrap();
    let read = rimbook::shape::record::parse(lab.get(&path).await.body.as_bytes()).unwrap();
    assert_eq!(read.traces.right.radii(), &ellipse_radii()[..]);
    lab.get("/shapes/7").await.assert_status(404);
    lab.get("/shapes/0190b6a0-0000-7000-8000-000000000000").await.assert_status(404);
}

/// The file states a box 1 mm wider than it traces, and a checksum that is not its own.
#[tokio::test]
async fn what_was_odd_in_a_file_is_said_of_the_shapes_made_from_its_shape() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let file = format!("HBOX=51;51\r\n{}CRC=1\r\n", records(Some("20.00"), &[("R", ellipse_radii())]));
    upload(&lab, job, &file, &[]).await.assert_status(303);
    let path = format!("/jobs/{job}/shape");
    let said = |page: &Answer| -> Vec<String> {
        page.texts(".caution p").into_iter().filter(|says| says.starts_with("In the file")).collect()
    };
    let of_parent = "In the file of the shape that this one was made from: ";
    let first = said(&lab.get(&path).await);
    assert!(first.len() == 2 && first[0].contains("checksum 1") && first[1].contains("HBOX"), "{first:?}");
    let theirs: Vec<String> = first.iter().map(|says| says.replace("In the file: ", of_parent)).collect();
    // Smoothed and drilled it is the size that the file contradicts; resized it is not.
    lab.post(&format!("{path}/change"), &[("way", "smooth")]).await.assert_status(303);
    assert_eq!(said(&lab.get(&path).await), theirs);
    lab.post(&format!("{path}/holes"), &[("holes", "temple 5 2 1.4"), ("holes_left", "")]).await.assert_status(303);
    assert_eq!(said(&lab.get(&path).await), theirs, "of the parent of the parent");
    lab.post(&format!("{path}/change"), &[("way", "box"), ("box_a", "52")]).await.assert_status(303);
    let resized = lab.get(&path).await;
    assert_eq!(said(&resized), theirs[..1]);
    // The shape by itself says the same, and so does each of those before it.
    let drilled = lab.get(&resized.attributes("#parent a", "href")[0]).await;
    assert_eq!(said(&drilled), theirs);
    let smoothed = lab.get(&drilled.attributes("#parent a", "href")[0]).await;
    assert_eq!(said(&lab.get(&smoothed.attributes("#parent a", "href")[0]).await), first);
}

/// The figures of the table of holes, a line a hole.
pub fn hole_table(page: &Answer) -> Vec<String> {
    let cells = page.texts(".holes-on-file tbody td");
    cells.chunks(7).map(|line| line.join(" ").trim_end().to_owned()).collect()
}

#[tokio::test]
async fn holes_are_typed_drawn_and_kept_with_the_shape() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let path = format!("/jobs/{job}/shape/holes");
    let bare = lab.get(&format!("/jobs/{job}/shape")).await;
    assert!(hole_table(&bare).is_empty() && bare.attributes("path.holes", "d").is_empty());
    // In an ellipse 50 by 40, 5 mm from the temple side and 2 mm up: well inside.
    lab.post(&path, &[("holes", "temple 5 2 1.4\nnose 5 -1 1.4"), ("holes_left", "")]).await.assert_status(303);
    let lab = lab.reopened().await;
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    assert_eq!(hole_table(&page), ["R and L 1 temple 5.00 +2.00 1.40", "R and L 2 nose 5.00 -1.00 1.40"]);
    // A 50: the temple side is at -25 on the right eye and at +25 on the left one. Drawn with y down.
    let drawn = page.attributes("path.holes", "d");
    assert!(drawn[0].starts_with("M-20 -2.7L") && drawn[0].contains("M20 0.3L"), "{drawn:?}");
    assert!(drawn[1].starts_with("M20 -2.7L") && drawn[1].contains("M-20 0.3L"), "{drawn:?}");
    assert_eq!(page.texts("#holes")[0], "temple 5.00 2.00 1.40 nose 5.00 -1.00 1.40");
    assert!(page.text("dl.across").contains("with other holes"));
    // The layout and the ticket show them.
    assert_eq!(lab.get(&format!("/jobs/{job}/layout")).await.attributes("path.holes", "d"), drawn);
    let ticket = lab.get(&format!("/jobs/{job}/ticket")).await;
    let told = ["R and L 1: temple 5.00, 2.00 up, ⌀ 1.40", "R and L 2: nose 5.00, 1.00 down, ⌀ 1.40"];
    assert_eq!(ticket.texts("article .hole"), told);
    assert_eq!(ticket.attributes(".true-size path.drilled", "d").len(), 2);
    for sheet in ["outline-sheet", "blocking-sheet"] {
        let sheet = lab.get(&format!("/jobs/{job}/shape/{sheet}")).await;
        assert_eq!(sheet.attributes(".true-size path.drilled", "d").len(), 2);
    }
    // Corrected holes are another shape; the earlier ones stay.
    let parent = lab.get(&page.attributes("#parent a", "href")[0]).await;
    assert!(hole_table(&parent).is_empty());
    let each = [("holes_on", "each"), ("holes", "temple 6 2 1.4"), ("holes_left", "temple 6 3 1.4")];
    lab.post(&path, &each).await.assert_status(303);
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    assert_eq!(hole_table(&page), ["R 1 temple 6.00 +2.00 1.40", "L 1 temple 6.00 +3.00 1.40"]);
    assert_eq!(page.texts("#holes_left")[0], "temple 6.00 3.00 1.40");
    let parent = lab.get(&page.attributes("#parent a", "href")[0]).await;
    assert_eq!(hole_table(&parent).len(), 2);
    // A larger lens has them as far from its side and its middle line, and so have new lenses years later.
    lab.post(&format!("/jobs/{job}/shape/change"), &[("way", "box"), ("box_a", "52"), ("box_b", "44")]).await;
    let grown = lab.get(&format!("/jobs/{job}/shape")).await;
    assert_eq!(hole_table(&grown), ["R 1 temple 6.00 +2.00 1.40", "L 1 temple 6.00 +3.00 1.40"]);
    let later = lab.given_relens(job).await;
    assert_eq!(hole_table(&lab.get(&format!("/jobs/{later}/shape")).await), hole_table(&grown));
    // Without holes again.
    lab.post(&path, &[("holes", ""), ("holes_left", "")]).await.assert_status(303);
    assert!(hole_table(&lab.get(&format!("/jobs/{job}/shape")).await).is_empty());
    assert_eq!(hole_table(&lab.get(&format!("/jobs/{later}/shape")).await).len(), 2);
}

/// Holes, or another size, that were typed beside a shape that is not the newest any more.
#[tokio::test]
async fn what_was_typed_beside_an_earlier_shape_is_asked_about() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let page = format!("/jobs/{job}/shape");
    for (form, fields, field) in [
        ("holes", vec![("holes", "temple 5 2 1.4"), ("holes_left", "")], "holes"),
        ("change", vec![("way", "smooth")], "way"),
    ] {
        let path = format!("{page}/{form}");
        let key = lab.key_for(&path, &[]).await.unwrap();
        keep_ellipse(&lab, job).await;
        let kept = lab.count("job_shape", job).await;
        let refused = lab.post_as_is(&path, &[&fields[..], &[("key", key.as_str())]].concat()).await;
        let says = refused.assert_status(422).text(&format!("#{field}-error"));
        assert!(says.contains("A newer shape was put on file"), "{says}");
        assert_eq!(lab.count("job_shape", job).await, kept);
        // Sent once more from the page that says so.
        let key = refused.attributes(&format!("form[action='{path}'] input[name=key]"), "value").remove(0);
        lab.post_as_is(&path, &[&fields[..], &[("key", key.as_str())]].concat()).await.assert_status(303);
        assert_eq!(lab.count("job_shape", job).await, kept + 1);
    }
}

#[tokio::test]
async fn what_was_typed_at_an_earlier_visit_is_pointed_out() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let page = format!("/jobs/{job}/shape");
    let note = "hold what was typed here before";
    assert!(!lab.get(&page).await.body.contains(note));
    let refused = upload(&lab, job, "no trace at all", &[("dbl", "17.5")]).await;
    let says = refused.assert_status(422).text("#file-error");
    assert!(says.starts_with("Line 1: ") && !refused.body.contains(note), "{says}");
    lab.post_as_is(&format!("/drafts/shape-{job}-0"), &[("dbl", "17.5")]).await;
    let again = lab.get(&page).await;
    assert_eq!(again.attributes("#dbl", "value"), ["17.5"]);
    assert!(again.body.contains(note));
    lab.post_as_is(&format!("/drafts/shape-{job}-0"), &[("dbl", ""), ("unit", "inch")]).await;
    assert!(lab.get(&page).await.body.contains(note), "a unit makes another size of the next drawing");
}

#[tokio::test]
async fn holes_that_cannot_be_are_refused_and_thin_bridges_are_said() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let path = format!("/jobs/{job}/shape/holes");
    let choose = "choose “each its own”, or empty that list";
    for (on, holes, left, field, says) in [
        ("both", "temple 5 30 1.4", "", "holes", "Hole 1 of the right eye lies outside the lens"),
        ("both", "temple 5 2 1.4\nnose 0.5 0 1.4", "", "holes", "Hole 2 of the right eye is cut by the rim"),
        ("each", "temple 5 2 1.4", "temple 0.5 0 1.4", "holes_left", "Hole 1 of the left eye is cut by the rim"),
        ("each", "", "temple 0.5 0 1.4", "holes_left", "Hole 1 of the left eye is cut by the rim"),
        ("each", "temple 5 2 1.4", "five", "holes_left", "Line 1: write nose or temple"),
        ("both", "temple 5 2 1.4\ntemple 5 3 1.4", "", "holes", "runs into another hole"),
        ("both", "five", "", "holes", "Line 1: write nose or temple"),
        ("both", "", "", "holes", "on file already"),
        ("each", "", "", "holes", "on file already"),
        // What was typed for the left lens is not lost in silence.
        ("both", "temple 5 2 1.4", "temple 5 3 1.4", "holes_on", choose),
        ("", "temple 5 2 1.4", "five", "holes_on", choose),
    ] {
        let page = lab.post(&path, &[("holes_on", on), ("holes", holes), ("holes_left", left)]).await;
        let said = page.assert_status(422).text(&format!("#{field}-error"));
        assert!(said.contains(says), "{said}");
        for (field, typed) in [("#holes", holes), ("#holes_left", left)] {
            assert_eq!(page.text(field), typed.split_whitespace().collect::<Vec<_>>().join(" "), "as typed");
        }
        assert_eq!(page.attributes("[name=holes_on][checked]", "value").concat(), on, "as chosen");
    }
    assert_eq!(lab.count("job_shape", job).await, 1);
    // On the middle line the temple side is at 25: a hole of 1.4 whose middle is 2 from it leaves 1.3.
    lab.post(&path, &[("holes", "temple 2 0 1.4")]).await.assert_status(303);
    for page in ["shape", "layout", "ticket"] {
        let page = lab.get(&format!("/jobs/{job}/{page}")).await;
        assert!(page.body.contains("Hole 1 of the right eye leaves only 1.30 mm"), "{}", page.text("main"));
    }
}

#[tokio::test]
async fn a_lens_that_is_too_thin_at_a_hole_is_said() {
    let lab = TestLab::new().await;
    // A plus lens is thin at its edge.
    let job = lab.given_job_to("+4.00 DS", "+4.00 DS").await;
    lab.given_shape_for(job).await;
    lab.post(&format!("/jobs/{job}/shape/holes"), &[("holes", "temple 4 0 1.4")]).await.assert_status(303);
    for page in ["layout", "ticket"] {
        let page = lab.get(&format!("/jobs/{job}/{page}")).await;
        assert!(page.body.contains("a drilled mount needs 2.0 mm (common practice)"), "{}", page.text("main"));
    }
}

#[tokio::test]
async fn holes_come_from_drill_records_and_go_back_into_them() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let drill = "DRILL=R;-20.00;2.00;1.40\r\nDRILLE=R;C;20;-1;1.2;18;-1\r\n";
    let file = records(Some("20.00"), &[("R", ellipse_radii())]).replace("DO=B\r\n", &format!("DO=B\r\n{drill}"));
    upload(&lab, job, &file, &[]).await.assert_status(303);
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    let rows = ["R and L 1 temple 5.00 +2.00 1.40", "R and L 2 nose 5.00 -1.00 1.20 7.00, -1.00"];
    assert_eq!(hole_table(&page), rows, "mirrored on the eye that is not in the file");
    assert!(page.texts(".notice.caution").iter().any(|says| says.contains("compare them with the demo lens")));
    for form in ["text", "packed"] {
        let bytes = lab.bytes(&format!("/jobs/{job}/shape/export?as={form}")).await;
        let read = rimbook::shape::record::parse(&bytes).unwrap();
        assert_eq!(read.value("DRILLE"), Some("R;C;-20.00;2.00;1.40"));
        assert_eq!((read.holes.right.len(), read.holes.left.len()), (2, 2));
        let other = lab.given_job().await;
        upload(
            &lab,
            other,
            &lab.get(&format!("/jobs/{job}/shape/export")).await.body,
            &[("other_job", &job.to_string())],
        )
        .await
        .assert_status(303);
        assert_eq!(hole_table(&lab.get(&format!("/jobs/{other}/shape")).await), rows);
    }
    let bytes = lab.bytes(&format!("/jobs/{job}/shape/export?as=dxf")).await;
    let drawing = dxf::Drawing::load(&mut &bytes[..]).unwrap();
    let circles = drawing.entities().filter_map(|entity| match &entity.specific {
        dxf::entities::EntityType::Circle(circle) => Some((circle.center.x, circle.center.y, circle.radius)),
        _ => None,
    });
    // The boxing centers are at -35 and 35.
    assert_eq!(circles.collect::<Vec<_>>(), [(-55.0, 2.0, 0.7), (55.0, 2.0, 0.7)]);
    // A hole that is not understood, and holes outside the lens.
    let odd = lab.given_job().await;
    for (drill, says) in [("DRILL=R;?;2;1.4", "not understood"), ("DRILL=R;-30;2;1.4", "are left out: measure them")] {
        let file = records(None, &[("R", ellipse_radii())]).replace("DO=B\r\n", &format!("DO=B\r\n{drill}\r\n"));
        upload(&lab, odd, &file, &[]).await.assert_status(303);
        let page = lab.get(&format!("/jobs/{odd}/shape")).await;
        assert!(page.texts(".notice.caution").iter().any(|caution| caution.contains(says)), "{drill}");
        assert!(hole_table(&page).is_empty());
    }
}

/// Nobody can know whether the other lens is drilled too.
#[tokio::test]
async fn holes_of_one_eye_stay_there_and_that_is_said() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let pair = records(Some("20.00"), &[("R", ellipse_radii()), ("L", ellipse_radii())]);
    let file = pair.replace("DO=B\r\n", "DO=B\r\nDRILL=L;-20;2;1.4\r\n");
    upload(&lab, job, &file, &[]).await.assert_status(303);
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    assert_eq!(hole_table(&page), ["R none", "L 1 temple 5.00 +2.00 1.40"]);
    let cautions = page.texts(".notice.caution");
    assert!(cautions.iter().any(|says| says.contains("holes for the left eye only")), "{cautions:?}");
    let again = lab.get(&format!("/jobs/{job}/shape/export")).await.body;
    let read = rimbook::shape::record::parse(again.as_bytes()).unwrap();
    assert_eq!((read.holes.right.len(), read.holes.left.len()), (0, 1));
}

#[tokio::test]
async fn each_lens_may_have_holes_of_its_own_or_none() {
    let mut lab = TestLab::new().await;
    let path = |job: i64| format!("/jobs/{job}/shape/holes");
    for (right, left, lens) in [("temple 5 2 1.4", "", 0), ("", "temple 5 2 1.4", 1)] {
        // The left eye was not traced: it is the mirror image of the right one, but for its holes.
        let job = lab.given_job().await;
        let file = records(Some("20.00"), &[("R", ellipse_radii())]);
        let file = file.replace("DO=B\r\n", "DO=B\r\nDRILL=R;-20;2;1.4\r\n");
        upload(&lab, job, &file, &[]).await.assert_status(303);
        let both = lab.get(&format!("/jobs/{job}/shape")).await;
        assert_eq!(both.attributes("[name=holes_on][checked]", "value"), ["both"]);
        assert_eq!((both.text("#holes"), both.text("#holes_left")), (both.text("#holes_left"), both.text("#holes")));
        lab.post(&path(job), &[("holes_on", "each"), ("holes", right), ("holes_left", left)]).await.assert_status(303);
        // It is the same after a restart, in new lenses years later, and on everything that is shown and printed.
        lab = lab.reopened().await;
        let later = lab.given_relens(job).await;
        let rows = [["R 1 temple 5.00 +2.00 1.40", "L none"], ["R none", "L 1 temple 5.00 +2.00 1.40"]][lens];
        let told =
            [["R 1: temple 5.00, 2.00 up, ⌀ 1.40", "L: none"], ["R: none", "L 1: temple 5.00, 2.00 up, ⌀ 1.40"]][lens];
        let at = ["M-20 -2.7L", "M20 -2.7L"][lens];
        for job in [job, later] {
            let page = lab.get(&format!("/jobs/{job}/shape")).await;
            assert_eq!(hole_table(&page), rows);
            assert_eq!(page.attributes("[name=holes_on][checked]", "value"), ["each"]);
            let filled = ["temple 5.00 2.00 1.40", ""];
            assert_eq!([page.text("#holes"), page.text("#holes_left")], [filled[lens], filled[1 - lens]]);
            let drawn = page.attributes("path.holes", "d");
            assert!(drawn.len() == 1 && drawn[0].starts_with(at), "{drawn:?}");
            assert_eq!(lab.get(&format!("/jobs/{job}/layout")).await.attributes("path.holes", "d"), drawn);
            let ticket = lab.get(&format!("/jobs/{job}/ticket")).await;
            assert_eq!(ticket.texts("article .hole"), told);
            assert_eq!(ticket.attributes(".true-size path.drilled", "d").len(), 1);
            for sheet in ["outline-sheet", "blocking-sheet"] {
                let sheet = lab.get(&format!("/jobs/{job}/shape/{sheet}")).await;
                assert_eq!(sheet.attributes(".true-size path.drilled", "d").len(), 1);
                assert!(sheet.texts(".holes-on-file").is_empty() || hole_table(&sheet) == rows);
            }
        }
        // So are the files, read by a new user.
        for format in ["text", "binary", "differences", "packed", "points", "svg", "dxf"] {
            let bytes = lab.bytes(&format!("/jobs/{job}/shape/export?as={format}")).await;
            let other = lab.given_job().await;
            let number = job.to_string();
            let fields = [("other_job", number.as_str())];
            lab.upload(&format!("/jobs/{other}/shape"), &fields, "file", "shape", &bytes).await.assert_status(303);
            assert_eq!(hole_table(&lab.get(&format!("/jobs/{other}/shape")).await), rows, "{format}");
        }
        // A larger lens too. Then the same on both again, while the list of the left lens is left as it was filled in.
        lab.post(&format!("/jobs/{job}/shape/change"), &[("way", "box"), ("box_a", "52")]).await.assert_status(303);
        let grown = lab.get(&format!("/jobs/{job}/shape")).await;
        assert_eq!(hole_table(&grown)[1 - lens], rows[1 - lens]);
        let filled = grown.text("#holes_left");
        let same = [("holes_on", "both"), ("holes", "nose 6 1 1.4"), ("holes_left", filled.as_str())];
        lab.post(&path(job), &same).await.assert_status(303);
        assert_eq!(hole_table(&lab.get(&format!("/jobs/{job}/shape")).await), ["R and L 1 nose 6.00 +1.00 1.40"]);
        assert_eq!(hole_table(&lab.get(&format!("/jobs/{later}/shape")).await), rows, "its own shape");
    }
}

#[tokio::test]
async fn a_rim_in_space_is_shown_where_its_depth_was_traced() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    // A circle of 22 mm, its depth 22 sin 6° · cos t: a plane tilted by atan(sin 6°) = 5.97°.
    let depth: Vec<String> = (0..100)
        .map(|i| (2200.0 * 6f64.to_radians().sin() * (f64::from(i) * 3.6).to_radians().cos()).round().to_string())
        .collect();
    let mut file = records(None, &[("R", vec![2200; 400])]) + "ZFMT=1;100;E;R;F\r\n";
    for line in depth.chunks(10) {
        file += &format!("Z={}\r\n", line.join(";"));
    }
    upload(&lab, job, &file, &[]).await.assert_status(303);
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    let names = page.texts(".eye-right .figure dt");
    let figures = page.texts(".eye-right .figure .num");
    let figure = |name: &str| -> f64 { figures[names.iter().position(|n| n.contains(name)).unwrap()].parse().unwrap() };
    assert!((figure("Tilt") - 6.0).abs() < 0.06, "{figures:?}");
    // An ellipse with half axes 22 and 22 √(1 + sin² 6°): 138.61 (Ramanujan), against 138.23 flat.
    assert!((figure("along the rim") - 138.61).abs() < 0.03, "{figures:?}");
    assert!((figure("flat") - 138.23).abs() < 0.02);
}

#[tokio::test]
async fn new_lenses_say_where_the_trace_and_the_stamp_differ() {
    let lab = TestLab::new().await;
    let (fits, wide) = (lab.given_job().await, lab.given_job().await);
    keep_ellipse(&lab, fits).await;
    let round = records(Some("23.00"), &[("R", vec![2400; 36])]);
    upload(&lab, wide, &round, &[]).await.assert_status(303);
    let says = async |job: i64| {
        let order = lab.get(&format!("/jobs/{job}/relens")).await.location;
        let page = lab.get(&order).await;
        assert!(page.text("main").contains("Shape on file"));
        page.texts("p.warn")
    };
    assert_eq!(says(fits).await, Vec::<String>::new());
    let said = says(wide).await;
    let shown = lab.get(&format!("/jobs/{wide}/shape")).await.text("main");
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said[0].contains("48.00 mm wide") && said[1].contains("23.00 mm"), "{said:?}");
    assert!(said.iter().all(|caution| shown.contains(caution)), "{said:?} in {shown}");
}
