//! The service itself: health, problems, compression, metrics, the document.

use super::document::committed;
use super::scenario::{all_kinds, place, property};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};
use std::time::Duration;

over_both! {
    it_lives_and_is_ready;
    it_is_not_ready_while_it_stops;
    a_wrong_method_is_told_the_right_ones;
    head_is_get_without_the_body;
    nothing_at_a_path_is_a_problem;
    every_answer_has_a_request_id_and_a_problem_repeats_it;
    a_caller_who_takes_no_coding_is_told;
    large_lists_are_compressed_when_asked_for_and_status_never;
    the_document_is_the_committed_one;
    the_pages_need_nothing_from_elsewhere;
}

async fn it_lives_and_is_ready(app: &App) {
    for (path, word) in [("/healthz", "alive\n"), ("/readyz", "ready\n")] {
        let reply = Reply::of(app.anonymous("GET", path)).await;
        assert_eq!((reply.status, reply.text.as_str()), (200, word));
        assert!(reply.header("content-type").starts_with("text/plain"));
    }
    let front = Reply::of(app.anonymous("GET", "/")).await;
    assert!(front.status == 200 && front.text.contains("/docs/"), "{}", front.text);
}

async fn it_is_not_ready_while_it_stops(app: &App) {
    let app = App::start_with(app.kind, |layer| layer.drain_s = Some(2)).await;
    let stopper = app.stopper();
    let stopping = tokio::spawn(stopper.stop());
    let mut ready = Reply::of(app.anonymous("GET", "/readyz")).await;
    for _ in 0..50 {
        if ready.status != 200 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
        ready = Reply::of(app.anonymous("GET", "/readyz")).await;
    }
    assert_eq!((ready.status, ready.header("retry-after")), (503, "1"));
    ready.problem("unavailable");
    // Load balancers need a moment to notice; until then work goes on.
    assert_eq!(Reply::of(app.anonymous("GET", "/healthz")).await.status, 200);
    app.post("/v1/properties", &property()).await;
    stopping.await.expect("it stops");
    assert!(app.anonymous("GET", "/healthz").send().await.is_err(), "it is gone");
    app.stop().await;
}

async fn a_wrong_method_is_told_the_right_ones(app: &App) {
    for (path, item) in committed()["paths"].as_object().expect("paths") {
        let methods: Vec<String> =
            item.as_object().expect("an item").keys().map(|method| method.to_uppercase()).collect();
        let real = path.replace("{id}", "00000000-0000-4000-8000-000000000000");
        for method in ["GET", "POST", "PUT", "DELETE", "PATCH"] {
            if methods.iter().any(|known| known == method) {
                continue;
            }
            let reply = Reply::of(app.request(method, &real)).await;
            assert_eq!(reply.status, 405, "{method} {path}: {}", reply.text);
            reply.problem("method_not_allowed");
            let mut allowed: Vec<&str> = reply.header("allow").split(", ").collect();
            allowed.retain(|method| *method != "HEAD");
            allowed.sort_unstable();
            let mut expected: Vec<&str> = methods.iter().map(String::as_str).collect();
            expected.sort_unstable();
            assert_eq!(allowed, expected, "{method} {path}");
        }
    }
}

async fn head_is_get_without_the_body(app: &App) {
    place(app, all_kinds()).await;
    for path in ["/healthz", "/v1/properties", "/openapi.json", "/nowhere"] {
        let (get, head) =
            (Reply::of(app.request("GET", path)).await, Reply::of(app.request("HEAD", path)).await);
        assert_eq!((head.status, head.text.as_str()), (get.status, ""), "{path}");
        for header in ["etag", "content-type", "cache-control"] {
            assert_eq!(head.header(header), get.header(header), "{path} {header}");
        }
    }
}

async fn nothing_at_a_path_is_a_problem(app: &App) {
    for path in ["/nowhere", "/v2/tasks", "/v1/nowhere", "/v1/tasks/", "/v1", "/v1/properties/x/y"] {
        let reply = Reply::of(app.request("GET", path)).await;
        assert_eq!(reply.status, 404, "{path}: {}", reply.text);
        let problem = reply.problem("not_found");
        assert_eq!((&problem["instance"], &problem["type"]), (&json!(path), &json!("/problems/not_found")));
        assert!(problem["detail"].as_str().expect("a detail").contains("/docs"), "{problem}");
    }
    // Without a key nothing under /v1 says whether it is there.
    for path in ["/v1/nowhere", "/v1/tasks"] {
        let reply = Reply::of(app.anonymous("GET", path)).await;
        assert_eq!(reply.status, 401, "{path}");
        reply.problem("unauthorized");
    }
    Reply::of(app.anonymous("GET", "/nowhere")).await.problem("not_found");
}

async fn every_answer_has_a_request_id_and_a_problem_repeats_it(app: &App) {
    let mut seen = std::collections::BTreeSet::new();
    for path in ["/healthz", "/v1/tasks", "/openapi.json", "/v1/tasks?limit=0", "/nowhere", "/v1/tasks/nine"]
    {
        for request in [app.request("GET", path), app.anonymous("GET", path), app.request("PATCH", path)] {
            let reply = Reply::of(request).await;
            let id = reply.header("x-request-id").to_owned();
            assert!(!id.is_empty(), "{path} {}", reply.status);
            if reply.status >= 400 {
                let problem: Value = serde_json::from_str(&reply.text).expect("a problem");
                assert_eq!(problem["request_id"], id.as_str(), "{path}");
                assert_eq!(problem["instance"], path.split('?').next().expect("a path"));
                assert_eq!(problem["status"], reply.status);
                assert_eq!(reply.header("cache-control"), "no-store");
                for text in ["title", "detail", "type", "code"] {
                    assert!(problem[text].as_str().is_some_and(|text| !text.is_empty()), "{problem}");
                }
            }
            assert!(seen.insert(id), "an id of its own for each request");
        }
    }
}

async fn a_caller_who_takes_no_coding_is_told(app: &App) {
    for path in ["/v1/tasks", "/healthz", "/v1/tasks?limit=0"] {
        let request = app.request("GET", path).header("Accept-Encoding", "identity;q=0, *;q=0");
        let reply = Reply::of(request).await;
        assert_eq!(reply.status, 406, "{path}: {}", reply.text);
        let problem = reply.problem("not_acceptable");
        assert_eq!(problem["request_id"], reply.header("x-request-id"));
    }
}

async fn large_lists_are_compressed_when_asked_for_and_status_never(app: &App) {
    let place = place(app, all_kinds()).await;
    app.refresh().await;
    let get = async |path: &str, coding: &str| {
        let response =
            app.request("GET", path).header("Accept-Encoding", coding).send().await.expect("an answer");
        assert_eq!(response.status().as_u16(), 200);
        let coding =
            response.headers().get("content-encoding").map(|value| value.to_str().expect("text").to_owned());
        let vary = response.headers().get("vary").map(|value| value.to_str().expect("text").to_lowercase());
        (coding, vary.unwrap_or_default(), response.bytes().await.expect("a body"))
    };
    let (none, _, plain) = get("/v1/tasks", "identity").await;
    assert_eq!(none, None);
    for coding in ["gzip", "br"] {
        let (named, vary, packed) = get("/v1/tasks", coding).await;
        assert_eq!(named.as_deref(), Some(coding));
        assert!(vary.contains("accept-encoding"), "caches have to know: {vary:?}");
        assert!(packed.len() * 3 < plain.len(), "{coding}: {} of {}", packed.len(), plain.len());
    }
    let unpacking = crate::support::http_client().gzip(true).build().expect("a client");
    let request = unpacking.get(format!("{}/v1/tasks", app.url)).bearer_auth(&app.key);
    assert_eq!(request.send().await.expect("an answer").bytes().await.expect("a body"), plain);
    let path = format!("/v1/systems/{}/status", place.system_id());
    let (_, _, plain) = get(&path, "identity").await;
    for coding in ["gzip", "br", "gzip, br, deflate, zstd"] {
        let (named, _, body) = get(&path, coding).await;
        assert_eq!(named, None, "{coding}");
        assert_eq!(body, plain);
    }
}

async fn the_document_is_the_committed_one(app: &App) {
    let reply = Reply::of(app.anonymous("GET", "/openapi.json")).await;
    assert_eq!(reply.expect(200), committed());
    let again = app.anonymous("GET", "/openapi.json").header("If-None-Match", reply.header("etag"));
    assert_eq!(Reply::of(again).await.status, 304);
}

async fn the_pages_need_nothing_from_elsewhere(app: &App) {
    let bare = Reply::of(app.anonymous("GET", "/docs")).await;
    assert!((300..400).contains(&bare.status) && bare.header("location") == "/docs/", "{}", bare.status);
    let page = Reply::of(app.anonymous("GET", "/docs/")).await;
    assert_eq!(page.status, 200);
    assert!(page.header("content-type").starts_with("text/html"), "{}", page.header("content-type"));
    assert!(page.header("content-security-policy").contains("frame-ancestors 'none'"));
    assert_eq!((page.header("x-frame-options"), page.header("x-content-type-options")), ("DENY", "nosniff"));
    let mut parts = 0;
    for attribute in ["src=\"", "href=\""] {
        for rest in page.text.split(attribute).skip(1) {
            let link = rest.split('"').next().expect("an end");
            assert!(!link.contains("//"), "{link} lies elsewhere");
            let reply =
                Reply::of(app.anonymous("GET", &format!("/docs/{}", link.trim_start_matches("./")))).await;
            assert_eq!(reply.status, 200, "{link}");
            parts += 1;
        }
    }
    assert!(parts >= 3, "the page has scripts and styles:\n{}", page.text);
    let start = Reply::of(app.anonymous("GET", "/docs/start.js")).await;
    assert!(start.text.contains("/openapi.json") && !start.text.contains("https://"), "{}", start.text);
    // It has a title and an icon of its own, and no bar with those of the viewer.
    assert!(page.text.contains("<title>Eavesward API</title>"), "{}", page.text);
    assert!(start.text.contains("\"BaseLayout\""), "{}", start.text);
    let icon = Reply::of(app.anonymous("GET", "/docs/favicon.svg")).await;
    assert!(
        icon.header("content-type").starts_with("image/svg") && icon.text.contains("<svg"),
        "{}",
        icon.text
    );
    for theirs in
        ["index.html", "swagger-initializer.js", "swagger-ui-standalone-preset.js", "favicon-32x32.png"]
    {
        Reply::of(app.anonymous("GET", &format!("/docs/{theirs}"))).await.problem("not_found");
    }
}
