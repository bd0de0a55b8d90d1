//! Finding a job by what is known of it, and scanned barcodes.

use rimbook::desk::customer::Person;
use rimbook::desk::order::{CustomerChoice, FrameChoice, NewOrder, People, Recipient};
use time::macros::date;

use crate::support::{Answer, TestLab};

/// A job of 2023: Lena Marchwer of Tarnwick, a gold Heron & Rye C-12.
async fn given_gold_job(lab: &TestLab) -> i64 {
    let NewOrder { frame, prescription, .. } = lab.order().await;
    let FrameChoice::New(mut gold) = frame else { panic!("a new frame") };
    gold.maker = "Heron & Rye".into();
    gold.model = "C-12".into();
    gold.color = "brushed gold".into();
    gold.eye_size = "53".parse().unwrap();
    let person = Person {
        name: "Lena Marchwer".into(),
        line1: "3 Net Loft".into(),
        city: "Tarnwick".into(),
        region: "PM".into(),
        postcode: "00417".into(),
        phone: "(555) 555-0177".into(),
        email: "lena@tarnpost.example".into(),
        ..Person::default()
    };
    let order = NewOrder {
        customer: CustomerChoice::New(person),
        frame: FrameChoice::New(gold),
        prescription: rimbook::desk::prescription::Prescription {
            prescriber: "Dr Osgood Élan".into(), ..prescription
        },
        ordered_on: date!(2023 - 06 - 02),
        promised_on: date!(2023 - 06 - 12),
        ..lab.order().await
    };
    lab.given_order(&order).await
}

async fn find(lab: &TestLab, q: &str) -> Answer {
    lab.search("/find", q).await
}

async fn found(lab: &TestLab, q: &str) -> Vec<String> {
    find(lab, q).await.assert_status(200).texts("a.job-link")
}

#[tokio::test]
async fn words_in_any_order_over_everything_that_is_known() {
    let lab = TestLab::new().await;
    let (ada, lena) = (lab.given_sent_job().await.to_string(), given_gold_job(&lab).await.to_string());
    for q in [
        "marchwer lena",
        "tarnwick",
        "00417",
        "(555) 555-0177",
        "5555550177",
        "5550177",
        "+1 555 555 0177",
        "15555550177",
        "lena@tarnpost.example",
        "rye heron",
        "c12",
        "C-12",
        "c 12",
        "gold 53",
        "elan osgood",
        "2023 marchwer",
        "three years ago, a gold one",
        "lena OR",
    ] {
        assert_eq!(found(&lab, q).await, [lena.as_str()], "{q}");
    }
    // The parcel, the receipt, and what both jobs share.
    let shipment = lab.store.find_shipment(ada.parse().unwrap()).await.unwrap().unwrap();
    assert!(!shipment.tracking.is_empty());
    assert_eq!(found(&lab, &shipment.tracking).await, [ada.as_str()]);
    assert_eq!(found(&lab, &shipment.tracking.replace([' ', '-'], "")).await, [ada.as_str()]);
    assert_eq!(found(&lab, "5017").await, Vec::<String>::new(), "a part in the middle is no beginning");
    assert_eq!(found(&lab, "PM").await, [lena.as_str(), ada.as_str()], "the newest number first");
}

#[tokio::test]
async fn a_wrong_or_missing_letter_is_forgiven() {
    let lab = TestLab::new().await;
    lab.given_job().await;
    let lena = given_gold_job(&lab).await.to_string();
    for q in [
        "Marchver",
        "Marhwer",
        "Marchwwer",
        "Macrhwer",
        "Narchwer",
        "marchver lena",
        "hrron gold",
        "brushd",
        "three years ago, a gold one, name like Marchver",
        // The year is one off.
        "2 years ago Marchver",
    ] {
        let page = find(&lab, q).await;
        assert_eq!(page.texts("a.job-link"), [lena.as_str()], "{q}");
        assert!(page.texts("h2").contains(&"Jobs close to this".to_owned()), "{q}");
    }
    for q in ["Xxrchver", "gld", "Quall Marchver", "20023"] {
        let page = find(&lab, q).await;
        assert!(page.texts("a.job-link").len() != 1 || page.text(".notice").contains("Left out"), "{q}");
    }
    let list = lab.search("/customers", "marchver").await;
    assert_eq!(list.texts("tbody th"), ["Lena Marchwer"]);
    assert_eq!(lab.search("/frames", "herron").await.texts("tbody th"), ["Heron & Rye C-12"]);
}

#[tokio::test]
async fn what_no_job_has_is_left_out_and_named() {
    let lab = TestLab::new().await;
    let (ada, lena) = (lab.given_job().await.to_string(), given_gold_job(&lab).await.to_string());
    let page = find(&lab, "gold Zanzibar <b> lena").await;
    assert_eq!(page.texts("a.job-link"), [lena.as_str()]);
    assert!(page.text(".notice").contains("Left out: “Zanzibar”, “b”."), "{}", page.text(".notice"));
    // Both words are known, but no job has both.
    let page = find(&lab, "quill gold").await;
    assert_eq!(page.texts("a.job-link"), [ada.as_str()]);
    assert!(page.text(".notice").contains("Left out: “gold”."));
    let page = find(&lab, "zzz yyy").await;
    assert!(page.text(".empty").contains("zzz yyy"));
}

#[tokio::test]
async fn a_found_job_says_enough_to_pick_it() {
    let lab = TestLab::new().await;
    given_gold_job(&lab).await;
    let row = find(&lab, "gold").await.texts("tbody td");
    assert_eq!(
        row,
        [
            "Lena Marchwer Tarnwick",
            "-2.25 -1.25 x 095",
            "-2.50 -0.75 x 080",
            "Heron & Rye C-12, brushed gold, 53□20 145",
            "Jun 2, 2023",
            "taken"
        ]
    );
}

#[tokio::test]
async fn a_corrected_name_is_found_and_the_old_one_is_not() {
    let lab = TestLab::new().await;
    let lena = given_gold_job(&lab).await;
    let customer = lab.store.get_job(lena).await.unwrap().customer.clone();
    let person = Person { name: "Lena Ockendon-Vail".into(), ..customer.person };
    let now = crate::support::NOW;
    lab.store.change_customer("change", customer.id, &person, now).await.unwrap();
    for q in ["ockendon", "ockendonvail", "Okendon", "vail gold"] {
        assert_eq!(found(&lab, q).await, [lena.to_string()], "{q}");
    }
    assert!(found(&lab, "marchwer").await.is_empty());
}

#[tokio::test]
async fn who_pays_and_who_gets_the_parcel_find_the_job() {
    let lab = TestLab::new().await;
    lab.given_job().await;
    let person = |name: &str, city: &str| {
        let name = name.to_owned();
        let (line1, city) = ("1 Rope Walk".to_owned(), city.to_owned());
        CustomerChoice::New(Person {
            name,
            line1,
            city,
            region: "PM".into(),
            postcode: "00431".into(),
            ..Person::default()
        })
    };
    let people = People {
        payer: Some(person("Osric Pennyfather", "Eelbank")),
        recipient: Recipient::Other(Box::new(person("Thea Moorgate", "Curlew Sound"))),
    };
    let number = lab.given_order(&NewOrder { people, ..lab.order().await }).await.to_string();
    for q in ["pennyfather", "thea moorgate", "Morgate", "curlew sound"] {
        assert_eq!(found(&lab, q).await, [number.as_str()], "{q}");
    }
    let row = find(&lab, "thea").await.texts("tbody td");
    assert!(row[0].contains("paid by Osric Pennyfather") && row[0].contains("sent to Thea Moorgate"), "{row:?}");
    // A corrected name of the recipient is found too.
    let recipient = lab.store.get_job(number.parse().unwrap()).await.unwrap().recipient.clone();
    let renamed = Person { name: "Thea Vandermeer".into(), ..recipient.person };
    lab.store.change_customer("change", recipient.id, &renamed, crate::support::NOW).await.unwrap();
    assert_eq!(found(&lab, "vandermeer").await, [number.as_str()]);
    assert!(found(&lab, "moorgate").await.is_empty());
}

#[tokio::test]
async fn a_scanned_number_opens_the_next_step() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    assert_eq!(lab.get(&format!("/scan/{number}")).await.location, format!("/jobs/{number}/shape"));
    lab.given_shape_for(number).await;
    lab.given_lenses_for(number).await;
    assert_eq!(lab.get(&format!("/scan/{number}")).await.location, format!("/jobs/{number}/layout"));
    let sent = lab.given_sent_job().await;
    assert_eq!(lab.get(&format!("/scan/{sent}")).await.location, format!("/jobs/{sent}/bill"));
    let tracking = lab.store.find_shipment(sent).await.unwrap().unwrap().tracking.replace([' ', '-'], "");
    assert_eq!(
        lab.get(&format!("/scan/{tracking}")).await.location,
        format!("/jobs/{sent}/bill"),
        "a parcel that came back"
    );
    let unknown = lab.get("/scan/99999").await;
    assert!(unknown.assert_status(200).text(".notice").contains("No job has the scanned number 99999"));
    assert_eq!(lab.get("/scan/%3Cb%3E").await.assert_status(200).text("h1"), "“b”");
}

#[tokio::test]
async fn a_new_order_begins_in_the_name() {
    let lab = TestLab::new().await;
    let path = lab.get("/orders/new").await.location;
    assert_eq!(lab.get(&path).await.attributes("[autofocus]", "id"), ["customer_name"]);
}

/// A name that is searched for stands in no address, and so in no history of a browser.
#[tokio::test]
async fn what_is_searched_for_stands_in_no_address() {
    let mut lab = TestLab::new().await;
    lab.given_job().await;
    for (path, beginning) in [("/find", "/find/"), ("/customers", "/customers?found="), ("/frames", "/frames?found=")] {
        let asked = lab.post_as_is(path, &[("q", "Ada Quill")]).await;
        let address = asked.assert_status(303).location.clone();
        let key = address.strip_prefix(beginning).unwrap_or_else(|| panic!("{path}: {address}"));
        assert!(uuid::Uuid::parse_str(key).is_ok(), "{address}");
        let page = lab.get(&address).await;
        assert!(page.assert_status(200).body.contains("Ada Quill"), "the page says what was asked");
        assert_eq!(page.headers["cache-control"], "private, no-store");
        assert!(page.attributes("form[method=get]", "action").iter().all(|a| a != path), "{path} is posted");
    }
    // Another start of the program knows no search, and says so.
    let address = lab.post_as_is("/find", &[("q", "Ada Quill")]).await.location;
    lab = lab.reopened().await;
    assert!(lab.get(&address).await.assert_status(409).text(".notice").contains("type it again"));
    let list = lab.get("/customers?found=00000000-0000-0000-0000-000000000000").await;
    assert_eq!(list.assert_status(200).texts("tbody th"), ["Ada Quill"], "all of them");
    // A long one is cut off, not refused.
    let long = lab.search("/find", &"quill ".repeat(9000)).await;
    long.assert_status(200);
    assert!(long.text("h1").chars().count() < 250);
}

/// Names of any script are found in capitals or not, composed or not.
#[tokio::test]
async fn a_name_beyond_ascii_is_found_however_it_is_typed() {
    let lab = TestLab::new().await;
    for name in ["Élodie Brume", "Łukasz Wierzba", "Иван Речной"] {
        let mut order = lab.order().await;
        let CustomerChoice::New(person) = &mut order.customer else { panic!("someone new") };
        person.name = name.into();
        lab.given_order(&order).await;
    }
    for (typed, name) in [
        ("Élodie", "Élodie Brume"),
        ("E\u{301}LODIE", "Élodie Brume"),
        ("elodie", "Élodie Brume"),
        ("ŁUKASZ", "Łukasz Wierzba"),
        ("lukasz", "Łukasz Wierzba"),
        ("иван", "Иван Речной"),
        ("ИВАН речной", "Иван Речной"),
    ] {
        assert_eq!(lab.search("/customers", typed).await.texts("tbody th"), [name], "{typed}");
        let found = lab.search("/find", typed).await;
        assert!(found.text("main table").contains(name), "{typed}: {}", found.text("main"));
    }
}
