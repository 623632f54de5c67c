//! The digest: one list in four forms.

use super::scenario::{Place, all_kinds, component, gauge, place, place_with, property, rain, system};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};
use std::collections::BTreeSet;

over_both! {
    a_digest_holds_the_tasks_of_the_week_by_property;
    days_and_places_narrow_it_down;
    accept_or_the_ending_chooses_the_form;
    what_cannot_be_made_is_refused;
    an_unchanged_digest_is_not_sent_again;
    nothing_due_is_said_in_every_form;
    wrong_parameters_are_refused;
    five_thousand_tasks_are_counted_and_the_first_are_listed;
}

const FORMS: [(&str, &str); 4] =
    [("json", "application/json"), ("txt", "text/plain"), ("md", "text/markdown"), ("csv", "text/csv")];

async fn two_places(app: &App) -> (Place, Place) {
    let first = place(app, all_kinds()).await;
    let mut terrace = property();
    terrace["name"] = json!("Terrace, *east* end");
    let mut vent = component("vent", json!({"kind": "vent"}));
    vent["last_served_on"] = json!("2025-03-05");
    let second = place_with(app, &terrace, &gauge(), json!([vent])).await;
    rain(app, &first.gauge, "2025-01-01", 424, 1.5).await;
    app.refresh().await;
    (first, second)
}

async fn fetch(app: &App, path: &str, accept: Option<&str>) -> Reply {
    let request = app.request("GET", path);
    Reply::of(match accept {
        Some(accept) => request.header("Accept", accept),
        None => request,
    })
    .await
}

fn rows(text: &str) -> Vec<std::collections::BTreeMap<String, String>> {
    assert!(
        text.ends_with("\r\n") && !text.replace("\r\n", "").contains('\n'),
        "lines end as RFC 4180 has them"
    );
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    reader.deserialize().map(|row| row.expect("a row")).collect()
}

async fn a_digest_holds_the_tasks_of_the_week_by_property(app: &App) {
    let (first, second) = two_places(app).await;
    let digest = app.get("/v1/digest").await;
    let tasks = app.walk("/v1/tasks?within=P7D", 500).await;
    assert_eq!((&digest["from"], &digest["to"]), (&Value::Null, &json!("2026-03-09")));
    assert_eq!(
        (&digest["left_out"], &digest["note"], &digest["listed"]),
        (&json!(0), &Value::Null, &json!(tasks.len()))
    );
    let properties = digest["properties"].as_array().expect("properties");
    let ids: Vec<&Value> = properties.iter().map(|property| &property["property_id"]).collect();
    // The vent of the terrace falls due on 5 March, others at the greenhouse earlier.
    assert_eq!(ids, [&json!(first.property), &json!(second.property)]);
    for property in properties {
        let listed = property["tasks"].as_array().expect("tasks");
        let expected: Vec<&Value> =
            tasks.iter().filter(|task| task["property_id"] == property["property_id"]).collect();
        assert_eq!(listed.len(), expected.len());
        for (line, task) in listed.iter().zip(expected) {
            for field in [
                "system_id",
                "system_name",
                "component_id",
                "component_name",
                "component_kind",
                "duty",
                "title",
                "state",
                "due_on",
                "decided_by",
                "window",
            ] {
                assert_eq!(line[field], task[field], "{field}");
            }
            assert_eq!(line["task_id"], task["id"]);
            let why = &line["why"];
            assert!(task["reasons"].as_array().expect("reasons").contains(why), "{why}");
            let is_ceiling = why["code"] == "longest_interval";
            assert_eq!(is_ceiling, line["decided_by"] == "longest_interval", "{why}: {line}");
        }
    }
    let state = |word: &str| tasks.iter().filter(|task| task["state"] == word).count();
    let totals = &digest["totals"];
    for word in ["late", "due", "near", "resting"] {
        assert_eq!(totals[word], json!(state(word)), "{word}");
    }
    assert!(state("late") > 0 && state("near") > 0);
    assert_eq!(
        (&totals["tasks"], &totals["systems"], &totals["properties"]),
        (&json!(tasks.len()), &json!(2), &json!(2))
    );
    let minutes = |list: &Value| {
        list["tasks"]
            .as_array()
            .expect("tasks")
            .iter()
            .map(|task| task["minutes"].as_u64().expect("minutes"))
            .sum::<u64>()
    };
    assert_eq!(totals["minutes"], json!(properties.iter().map(minutes).sum::<u64>()));
    assert_eq!(properties[1]["totals"]["minutes"], json!(10), "a vent takes ten minutes");
    each_thing_and_each_caution_comes_once(&digest, &tasks);
}

/// Everything that any task wants is brought, once; every hazard of any task is told, once, local codes last.
fn each_thing_and_each_caution_comes_once(digest: &Value, tasks: &[Value]) {
    let all = |field: &str, of: fn(&Value) -> Value| -> BTreeSet<String> {
        let each = tasks.iter().flat_map(|task| task[field].as_array().expect("a list"));
        each.map(|one| of(one).as_str().expect("a text").to_owned()).collect()
    };
    let once = |list: &Value, of: fn(&Value) -> Value| {
        let list: Vec<String> = list
            .as_array()
            .expect("a list")
            .iter()
            .map(|one| of(one).as_str().expect("a text").to_owned())
            .collect();
        let set: BTreeSet<String> = list.iter().cloned().collect();
        assert_eq!(set.len(), list.len(), "{list:?}");
        set
    };
    assert_eq!(once(&digest["bring"], Value::clone), all("bring", Value::clone));
    assert_eq!(
        once(&digest["cautions"], |one| one["text"].clone()),
        all("cautions", |one| one["text"].clone())
    );
    let last = digest["cautions"].as_array().and_then(|cautions| cautions.last()).expect("a caution");
    assert_eq!(last["hazard"], "local_codes");
}

async fn days_and_places_narrow_it_down(app: &App) {
    let (first, second) = two_places(app).await;
    let whole = app.get("/v1/digest?within=P3000D").await["listed"].as_u64().expect("a count");
    for query in [
        format!("property_id={}", first.property),
        format!("system_id={}", second.system_id()),
        "within=P0D".to_owned(),
        "within=P4W".to_owned(),
        "from=2026-01-01&to=2026-03-05".to_owned(),
        "to=2026-01-01".to_owned(),
        "from=2026-03-03".to_owned(),
    ] {
        let digest = app.get(&format!("/v1/digest?{query}")).await;
        // A digest without days is of a week.
        let days = ["within", "from", "to"].iter().any(|word| query.contains(&format!("{word}=")));
        let same = if days { query.clone() } else { format!("{query}&within=P7D") };
        let tasks = app.walk(&format!("/v1/tasks?{same}"), 500).await;
        let listed: Vec<Value> = digest["properties"]
            .as_array()
            .expect("properties")
            .iter()
            .flat_map(|property| property["tasks"].as_array().expect("tasks").clone())
            .collect();
        assert!(!listed.is_empty() && (listed.len() as u64) < whole, "{query} shows nothing of the filter");
        let ids = |list: &[Value], field: &str| -> BTreeSet<String> {
            list.iter().map(|one| one[field].as_str().expect("an id").to_owned()).collect()
        };
        assert_eq!(ids(&listed, "task_id"), ids(&tasks, "id"), "{query}");
        let text = fetch(app, &format!("/v1/digest.txt?{query}"), None).await.text;
        let title = match (digest["from"].as_str(), digest["to"].as_str()) {
            (Some(from), Some(to)) => format!("What falls due from {from} to {to}\n"),
            (Some(from), None) => format!("What falls due from {from}\n"),
            (None, to) => format!("What is due by {}\n", to.expect("a day")),
        };
        assert!(text.starts_with(&title), "{text}");
    }
}

async fn accept_or_the_ending_chooses_the_form(app: &App) {
    two_places(app).await;
    for (ending, media_type) in FORMS {
        let by_accept = fetch(app, "/v1/digest", Some(media_type)).await;
        let by_ending = fetch(app, &format!("/v1/digest.{ending}"), Some("image/png")).await;
        assert_eq!((by_accept.status, by_ending.status), (200, 200), "{ending}");
        assert!(by_accept.header("content-type").starts_with(media_type), "{ending}");
        assert_eq!(by_accept.header("content-type"), by_ending.header("content-type"));
        assert_eq!(by_accept.text, by_ending.text);
        let vary: Vec<&str> =
            by_accept.headers.get_all("vary").iter().map(|value| value.to_str().expect("text")).collect();
        assert!(
            vary.join(",").to_lowercase().contains("accept")
                && vary.iter().any(|one| one.eq_ignore_ascii_case("accept")),
            "{vary:?}"
        );
    }
    let anything = fetch(app, "/v1/digest", None).await;
    assert!(anything.header("content-type").starts_with("application/json"));
    let picky = fetch(app, "/v1/digest", Some("text/html, text/*;q=0.4, text/csv;q=0.9, */*;q=0.1")).await;
    assert!(picky.header("content-type").starts_with("text/csv"), "{:?}", picky.headers);

    let digest = app.get("/v1/digest").await;
    let tasks = digest["totals"]["tasks"].as_u64().expect("a count");
    let text = fetch(app, "/v1/digest.txt", None).await.text;
    assert!(text.lines().all(|line| line.chars().count() <= 80 && line == line.trim_end()), "{text}");
    assert!(text.contains("\nTerrace, *east* end\n-------------------\n1 task, about 10 min: 1 near.\n\n2026-03-05  near  seedling house: vent\n    check the vent's mesh (10 min)\n"), "{text}");
    let markdown = fetch(app, "/v1/digest.md", None).await.text;
    assert!(markdown.contains("\n## Terrace, \\*east\\* end\n"), "{markdown}");
    assert_eq!(markdown.matches("\n- **20").count() as u64, tasks);
    let table = rows(&fetch(app, "/v1/digest.csv", None).await.text);
    let of = |kind: &str| table.iter().filter(|row| row["row"] == kind).collect::<Vec<_>>();
    assert_eq!((of("task").len() as u64, of("property").len(), of("note").len()), (tasks, 2, 0));
    let total = of("total")[0];
    assert_eq!(
        (total["total_tasks"].clone(), total["total_minutes"].clone()),
        (tasks.to_string(), digest["totals"]["minutes"].to_string())
    );
    // A spreadsheet that adds the column up gets the work once.
    let added: u64 = table.iter().filter_map(|row| row["minutes"].parse::<u64>().ok()).sum();
    assert_eq!(json!(added), digest["totals"]["minutes"]);
    assert_eq!(of("bring").len(), digest["bring"].as_array().expect("things").len());
    // Every form tells every caution once, in full.
    for caution in digest["cautions"].as_array().expect("cautions") {
        let told = caution["text"].as_str().expect("a text");
        assert_eq!(of("caution").iter().filter(|row| row["text"] == told).count(), 1, "{told}");
        let words = |text: &str| text.replace('\\', "").split_whitespace().collect::<Vec<_>>().join(" ");
        for form in [&text, &markdown] {
            assert_eq!(words(form).matches(&words(told)).count(), 1, "{told}");
        }
    }
}

async fn what_cannot_be_made_is_refused(app: &App) {
    for accept in ["image/png", "text/html", "application/json;q=0, text/*;q=0", "application/xml"] {
        let refused = fetch(app, "/v1/digest", Some(accept)).await;
        assert_eq!(refused.status, 406, "{accept}");
        let problem = refused.problem("not_acceptable");
        assert!(problem["detail"].as_str().expect("a detail").contains("text/markdown"), "{problem}");
    }
    for ending in ["xml", "html", "JSON", "csv.gz"] {
        let refused = fetch(app, &format!("/v1/digest.{ending}"), None).await;
        assert_eq!(refused.status, 406, "{ending}");
        refused.problem("not_acceptable");
    }
    Reply::of(app.anonymous("GET", "/v1/digest.csv")).await.problem("unauthorized");
    assert_eq!(Reply::of(app.request("POST", "/v1/digest")).await.status, 405);
}

async fn an_unchanged_digest_is_not_sent_again(app: &App) {
    two_places(app).await;
    let mut tags = BTreeSet::new();
    for (ending, _) in FORMS {
        let path = format!("/v1/digest.{ending}");
        let tag = fetch(app, &path, None).await.header("etag").to_owned();
        let again = Reply::of(app.request("GET", &path).header("If-None-Match", &tag)).await;
        assert_eq!((again.status, again.text.as_str()), (304, ""), "{ending}");
        tags.insert(tag);
    }
    assert_eq!(tags.len(), FORMS.len(), "forms of one path have tags of their own");
    let json = fetch(app, "/v1/digest", None).await.header("etag").to_owned();
    let other = app.request("GET", "/v1/digest").header("Accept", "text/csv").header("If-None-Match", &json);
    assert_eq!(Reply::of(other).await.status, 200);
}

async fn nothing_due_is_said_in_every_form(app: &App) {
    let digest = app.get("/v1/digest").await;
    assert_eq!(
        (&digest["totals"]["tasks"], &digest["properties"], &digest["cautions"]),
        (&json!(0), &json!([]), &json!([]))
    );
    let text = fetch(app, "/v1/digest.txt", None).await.text;
    assert_eq!(text, "What is due by 2026-03-09\n=========================\nNothing.\n");
    let markdown = fetch(app, "/v1/digest.md", None).await.text;
    assert_eq!(markdown, "# What is due by 2026-03-09\n\nNothing.\n");
    let table = rows(&fetch(app, "/v1/digest.csv", None).await.text);
    assert!(table.iter().all(|row| row["row"] == "total" && row["total_tasks"] == "0"), "{table:?}");
    assert_eq!(table.len(), 5);
}

async fn wrong_parameters_are_refused(app: &App) {
    for path in ["/v1/digest", "/v1/digest.csv"] {
        for (query, field) in [
            ("within=P7D&from=2026-01-01", "within"),
            ("within=week", "within"),
            ("from=2026-02-01&to=2026-01-01", "from"),
        ] {
            let reply = fetch(app, &format!("{path}?{query}"), None).await;
            assert_eq!(
                (reply.status, reply.fields("invalid")),
                (422, vec![field.to_owned()]),
                "{path}?{query}"
            );
        }
        for query in ["state=due", "limit=5", "system_id=here", "to=soon"] {
            let reply = fetch(app, &format!("{path}?{query}"), None).await;
            assert_eq!(reply.status, 400, "{path}?{query}");
            reply.problem("malformed_parameter");
        }
    }
}

async fn five_thousand_tasks_are_counted_and_the_first_are_listed(app: &App) {
    let vents: Vec<Value> =
        (0..200).map(|n| component(&format!("vent {n}"), json!({"kind": "vent"}))).collect();
    let first = place(app, Value::Array(vents.clone())).await;
    let mut terrace = property();
    terrace["name"] = json!("Terrace");
    let mut late = vents.clone();
    for vent in &mut late {
        vent["last_served_on"] = json!("2025-02-01");
    }
    let second = place_with(app, &terrace, &gauge(), Value::Array(late.clone())).await;
    for n in 2..25 {
        let (place, vents) = if n < 12 { (&first, &vents) } else { (&second, &late) };
        app.post("/v1/systems", &system(&place.property, &place.gauge, Value::Array(vents.clone()))).await;
    }
    app.refresh().await;
    let digest = app.get("/v1/digest").await;
    assert_eq!((&digest["listed"], &digest["left_out"]), (&json!(2_000), &json!(3_000)));
    let totals = &digest["totals"];
    assert_eq!(
        (&totals["tasks"], &totals["minutes"], &totals["late"]),
        (&json!(5_000), &json!(50_000), &json!(5_000))
    );
    assert_eq!((&totals["systems"], &totals["properties"]), (&json!(25), &json!(2)));
    let note = digest["note"].as_str().expect("a note");
    assert!(note.starts_with("3000 more tasks are not listed here"), "{note}");
    // The earliest are listed: those of the first property.
    let properties = digest["properties"].as_array().expect("properties");
    assert_eq!((properties.len(), &properties[0]["property_id"]), (1, &json!(first.property)));
    let text = fetch(app, "/v1/digest.txt", None).await.text;
    assert!(
        text.contains("5000 tasks at 2 properties, 25 systems: 5000 late.")
            && text.contains("3000 more tasks")
    );
    assert!(fetch(app, "/v1/digest.md", None).await.text.contains("3000 more tasks"));
    let table = rows(&fetch(app, "/v1/digest.csv", None).await.text);
    let notes: Vec<_> = table.iter().filter(|row| row["row"] == "note").collect();
    assert_eq!((notes.len(), notes[0]["total_tasks"].as_str(), notes[0]["text"].as_str()), (1, "3000", note));
    // What the note says helps.
    let one = app.get(&format!("/v1/digest?system_id={}", second.system_id())).await;
    assert_eq!((&one["listed"], &one["left_out"], &one["note"]), (&json!(200), &json!(0), &Value::Null));
}
