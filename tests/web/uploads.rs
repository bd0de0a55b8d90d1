//! Uploads that are no form of a page, at every address that takes files: each is refused in words, and nothing is stored.

use crate::support::TestLab;

/// Every address that takes files, with the name of its field.
async fn addresses(lab: &TestLab) -> Vec<(String, &'static str)> {
    let job = lab.given_job().await;
    let order = lab.get("/orders/new").await.location;
    vec![
        (format!("/jobs/{job}/files"), "file"),
        (format!("/jobs/{job}/own-frame"), "photographs"),
        (format!("/jobs/{job}/shape"), "file"),
        (format!("/jobs/{job}/measuring/photo"), "file"),
        (format!("{order}/measuring/photo"), "file"),
        ("/lab/old-records".to_owned(), "table"),
        ("/lab/old-records".to_owned(), "traces"),
    ]
}

/// Each field is looked for among those before it: a hundred thousand took half a minute.
#[tokio::test]
async fn a_form_of_very_many_or_very_long_fields_is_refused() {
    let lab = TestLab::new().await;
    let addresses = addresses(&lab).await;
    let before = lab.contents().await;
    let names: Vec<String> = (0..100_000).map(|i| format!("f{i}")).collect();
    let many: Vec<(&str, &str)> = names.iter().map(|name| (name.as_str(), "x")).collect();
    let long = "n".repeat(2 * 1024 * 1024 + 1);
    for (path, field) in addresses {
        for (fields, says) in
            [(&many[..], "more fields than its page"), (&[("note", long.as_str())][..], "More than 2 MB")]
        {
            let refused = lab.upload_as_is(&path, fields, field, "lens.png", b"\x89PNG\r\n\x1a\n").await;
            let notice = refused.assert_status(400).text("main");
            assert!(notice.contains(says) && notice.contains("nothing was changed"), "{path}: {notice}");
        }
    }
    assert_eq!(lab.contents().await, before);
}

/// Of a file over the limit, and of files over their number, only so much is kept that it can be said.
#[tokio::test]
async fn a_file_that_is_too_large_is_refused_by_its_name() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let path = format!("/jobs/{job}/files");
    let before = lab.contents().await;
    for more in [1, 8 << 20] {
        let large = [&b"\x89PNG\r\n\x1a\n"[..], &vec![0; (8 << 20) - 8 + more]].concat();
        let refused = lab.upload(&path, &[("kind", "photograph")], "file", "lens.png", &large).await;
        assert_eq!(refused.assert_status(422).text(".error"), "“lens.png” is larger than 8 MB: save it smaller");
    }
    assert_eq!(lab.contents().await, before);
    let most = [&b"\x89PNG\r\n\x1a\n"[..], &vec![0; (8 << 20) - 8]].concat();
    lab.upload(&path, &[("kind", "photograph")], "file", "lens.png", &most).await.assert_status(303);
}

/// The same of the file of a shape, whatever it begins as: how long it was is not known.
#[tokio::test]
async fn a_file_of_a_shape_that_is_too_large_is_refused_by_its_name() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let path = format!("/jobs/{job}/shape");
    let before = lab.contents().await;
    for start in [&b"\x89PNG\r\n\x1a\n"[..], b"0\nSECTION\n", b"TRCFMT=1;40;E;R;F\nR="] {
        let large = [start, &vec![b'7'; (8 << 20) + 1 - start.len()]].concat();
        let refused = lab.upload(&path, &[("eye", "said")], "file", "C:\\lens.dat", &large).await;
        assert_eq!(refused.assert_status(422).text("#file-error"), "“lens.dat” is larger than 8 MB: save it smaller");
    }
    assert_eq!(lab.contents().await, before);
    let most = vec![b'7'; 8 << 20];
    let faulty = lab.upload(&path, &[("eye", "said")], "file", "lens.dat", &most).await;
    assert!(faulty.assert_status(422).text("ul.faults li").contains("8388608 bytes"));
}

/// A trace file of a megabyte names tens of thousands of holes.
#[tokio::test]
async fn a_trace_of_very_many_holes_is_kept_without_them() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let path = format!("/jobs/{job}/shape");
    let holes: String = (0..30_000).map(|i| format!("DRILL=R;{};{};0.5\n", i % 40 - 20, i % 29 - 14)).collect();
    let file = format!("{holes}TRCFMT=1;40;E;R;F\nR={}\n", ["2500"; 40].join(";"));
    lab.upload(&path, &[("eye", "said")], "file", "holes.txt", file.as_bytes()).await.assert_status(303);
    let page = lab.get(&path).await;
    let said = page.texts(".caution p").into_iter().filter(|says| says.contains("more than 12 holes")).count();
    assert_eq!((said, page.texts(".holes-on-file").len()), (1, 0));
}
