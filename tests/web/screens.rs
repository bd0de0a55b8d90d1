//! The pass phrase on its page: what is refused, what it keeps out, what is never shown. From outside: `tests/trust/outside.rs`.

use axum::body::Body;
use axum::http::{Request, header};
use rimbook::web::router::SCREEN_ADDRESSES;

use crate::support::{Answer, TestLab, encode};

const PHRASE: &str = "heron copper fjord tern";
const OTHER: &str = "kestrel ink metal rim";

/// Sends a request with a cookie.
async fn with_cookie(lab: &TestLab, method: &str, path: &str, cookie: &str, fields: &[(&str, &str)]) -> Answer {
    let request = Request::builder().method(method).uri(path);
    let request = request
        .header(header::HOST, "localhost")
        .header("sec-fetch-site", "same-origin")
        .header(header::COOKIE, cookie)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
    lab.send(request.body(Body::from(encode(fields))).unwrap()).await
}

fn cookie(answer: &Answer) -> String {
    answer.headers[header::SET_COOKIE].to_str().unwrap().split(';').next().unwrap().to_owned()
}

fn new_phrase<'a>(present: &'a str, new: &'a str, again: &'a str) -> [(&'a str, &'a str); 5] {
    [("key", "screens"), ("present", present), ("new_phrase", new), ("again", again), ("screen", "Counter")]
}

async fn set(lab: &TestLab) -> String {
    let answer = lab.post("/lab/screens/pass-phrase", &new_phrase("", PHRASE, PHRASE)).await;
    answer.assert_status(303);
    cookie(&answer)
}

#[tokio::test]
async fn a_pass_phrase_is_typed_twice_and_not_easy_to_guess_and_never_shown() {
    let lab = TestLab::new().await;
    for (new, again, field) in [
        ("", "", "new_phrase"),
        ("short one", "short one", "new_phrase"),
        ("aaaaaaaaaaaaaaaaaaaa", "aaaaaaaaaaaaaaaaaaaa", "new_phrase"),
        (PHRASE, OTHER, "again"),
    ] {
        let answer = lab.post("/lab/screens/pass-phrase", &new_phrase("", new, again)).await;
        answer.assert_status(422);
        assert!(!answer.text(&format!("#{field}-error")).is_empty(), "{new}");
        assert!(answer.attributes("input[type=password]", "value").is_empty(), "{}", answer.body);
        assert!(again.is_empty() || !answer.body.contains(again), "{}", answer.body);
    }
    lab.get("/").await.assert_status(200);
    assert_eq!(lab.store.get_screen_lock().await.unwrap().hash, None);
}

/// A form that comes after its session has ended is not lost: it comes back with the pass phrase.
#[tokio::test]
async fn what_was_typed_outlives_the_session() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/notes");
    let key = lab.key_for(&path, &[]).await.unwrap();
    set(&lab).await;
    let typed = [("key", key.as_str()), ("note", "the <left> temple & \"quotes\"")];
    let asked = lab.post_as_is(&path, &typed).await;
    asked.assert_status(401);
    let mut again: Vec<(String, String)> = ["key", "to", "unsent", "screen"]
        .map(|name| (name.to_owned(), asked.attributes(&format!("form input[name={name}]"), "value").remove(0)))
        .into();
    // A wrong pass phrase loses nothing either.
    again.push(("present".into(), "wrong words altogether".into()));
    let post = async |fields: &[(String, String)]| {
        let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        lab.post_as_is("/sign-in", &fields).await
    };
    let refused = post(&again).await;
    refused.assert_status(422);
    assert_eq!(refused.attributes("form input[name=unsent]", "value"), [again[2].1.clone()]);
    again.last_mut().unwrap().1 = PHRASE.into();
    let shown = post(&again).await;
    shown.assert_status(200);
    assert_eq!(shown.attributes("main form", "action"), std::slice::from_ref(&path));
    assert_eq!(shown.attributes("form input[name=note]", "value"), [typed[1].1]);
    let fields =
        [("key", shown.attributes("form input[name=key]", "value").remove(0)), ("note", typed[1].1.to_owned())];
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    with_cookie(&lab, "POST", &path, &cookie(&shown), &fields).await.assert_status(303);
    assert!(lab.store.get_job(number).await.unwrap().history.iter().any(|event| event.note == typed[1].1));
    // No other site's address, no pass phrase and nothing of a script comes back.
    for path in ["/lab/screens/idle-time", "/drafts/mine"] {
        let refused = lab.post_as_is(path, &[("key", "screens"), ("present", "x")]).await;
        assert!(refused.attributes("input[name=unsent]", "value").is_empty(), "{path}");
    }
    again[2].1 = r#"{"path":"//evil.example/","fields":[["a","b"]]}"#.into();
    let elsewhere = post(&again).await;
    assert_eq!((elsewhere.status.as_u16(), elsewhere.location.as_str()), (303, "/"));
}

#[tokio::test]
async fn with_a_pass_phrase_nothing_is_shown_and_nothing_done_without_it() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let mark = set(&lab).await;
    let before = lab.contents().await;
    for path in ["/", "/customers", &format!("/jobs/{number}"), "/lab", "/lab/screens", "/nowhere", "/find?q=ada"] {
        let answer = lab.get(path).await;
        answer.assert_status(303);
        assert!(answer.location.starts_with("/sign-in?to="), "{path}: {}", answer.location);
        assert!(!answer.body.contains("Ada"), "{path}");
    }
    for path in ["/drafts/mine", "/lab", &format!("/jobs/{number}/notes"), "/lab/screens/idle-time"] {
        lab.post_as_is(path, &[("key", "screens"), ("note", "x")]).await.assert_status(401);
    }
    assert_eq!(lab.contents().await, before);
    with_cookie(&lab, "GET", "/", &mark, &[]).await.assert_status(200);
    with_cookie(&lab, "GET", "/", &format!("{mark}0"), &[]).await.assert_status(303);
    // It is in the book, as a hash: another start asks for it too, and knows no session.
    let lab = lab.reopened().await;
    with_cookie(&lab, "GET", "/", &mark, &[]).await.assert_status(303);
    let page = lab.get("/sign-in").await;
    page.assert_status(200);
    assert!(!page.body.contains("Saltmarsh"), "the page that asks for it says nothing of the book");
    assert!(lab.store.get_screen_lock().await.unwrap().hash.is_some_and(|hash| !hash.contains("heron")));
    let to: String = "/customers".bytes().map(|byte| format!("{byte:02x}")).collect();
    let fields = [("key", "screens"), ("to", to.as_str()), ("present", PHRASE), ("screen", "Counter")];
    let answer = lab.post("/sign-in", &fields).await;
    answer.assert_status(303);
    assert_eq!(answer.location, "/customers");
}

#[tokio::test]
async fn who_changes_it_knows_the_present_one() {
    let lab = TestLab::new().await;
    let mark = set(&lab).await;
    let change = async |present, new| {
        with_cookie(&lab, "POST", "/lab/screens/pass-phrase", &mark, &new_phrase(present, new, new)).await
    };
    change("heron copper", OTHER).await.assert_status(422);
    let gone = [("key", "screens"), ("present", "heron copper")];
    with_cookie(&lab, "POST", "/lab/screens/no-pass-phrase", &mark, &gone).await.assert_status(422);
    let answer = change(PHRASE, OTHER).await;
    answer.assert_status(303);
    with_cookie(&lab, "GET", "/", &mark, &[]).await.assert_status(303);
    let mark = cookie(&answer);
    with_cookie(&lab, "GET", "/", &mark, &[]).await.assert_status(200);
    let gone = [("key", "screens"), ("present", OTHER)];
    with_cookie(&lab, "POST", "/lab/screens/no-pass-phrase", &mark, &gone).await.assert_status(303);
    lab.get("/").await.assert_status(200);
}

#[tokio::test]
async fn the_time_a_screen_may_be_left_alone_has_its_limits() {
    let lab = TestLab::new().await;
    let mark = set(&lab).await;
    for (minutes, status) in [("0", 422), ("1441", 422), ("soon", 422), ("1", 303), ("1440", 303), ("15", 303)] {
        let fields = [("key", "screens"), ("idle_minutes", minutes)];
        let answer = with_cookie(&lab, "POST", "/lab/screens/idle-time", &mark, &fields).await;
        answer.assert_status(status);
    }
    assert_eq!(lab.store.get_screen_lock().await.unwrap().idle_minutes, 15);
    let page = with_cookie(&lab, "GET", "/lab/screens", &mark, &[]).await;
    assert_eq!(page.attributes("#idle_minutes", "value"), ["15"]);
    assert_eq!(page.texts("#screens tbody th"), ["Counter (this one)"]);
}

#[tokio::test]
async fn no_form_about_it_is_taken_from_another_site_or_without_its_key() {
    let lab = TestLab::new().await;
    let mut tried = 0;
    for address in SCREEN_ADDRESSES {
        let path = address.replace("{id}", "01234567-89ab-7cde-8f01-23456789abcd");
        let fields = [("new_phrase", PHRASE), ("again", PHRASE), ("screen", "x"), ("idle_minutes", "5")];
        let answer = lab.post_as_is(&path, &fields).await;
        if answer.status != 405 {
            tried += 1;
            answer.assert_status(400);
            let with_key = [&fields[..], &[("key", "screens")]].concat();
            lab.post_from_elsewhere(&path, &with_key).await.assert_status(403);
        }
    }
    assert_eq!(tried, 5);
    assert_eq!(lab.store.get_screen_lock().await.unwrap().hash, None);
}
