//! Computations and schemas.

use crate::client::Running;
use engine::registry;
use std::fs;
use std::path::Path;

fn example(name: &str) -> Vec<u8> {
    fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../undertile/tests/examples/{name}.json"))).unwrap()
}

#[test]
fn every_computation_gives_the_bytes_the_engine_gives() {
    let server = Running::start();
    for computation in registry::ALL {
        let input = example(computation.name);
        let answer = server.post_json(&format!("/api/compute/{}", computation.name), &input);
        let expected = computation.run(&input).unwrap();
        assert_eq!((answer.status, answer.header("content-type")), (200, Some("application/json")), "{}", computation.name);
        assert!(answer.body == expected, "{} differs", computation.name);
    }
}

#[test]
fn bad_input_comes_back_with_every_problem_the_engine_found() {
    let server = Running::start();
    for body in [&b""[..], b"{", b"[]", b"{}", b"null", b"\xff\xfe\x00", b"{\"air_c\": \"warm\", \"rh\": 7}", &[b'['; 100_000]] {
        for computation in registry::ALL {
            // What nothing is owed of is an answer.
            let Err(expected) = computation.run(body) else { continue };
            let problems = server.post_json(&format!("/api/compute/{}", computation.name), body).refused(422, "bad-input");
            assert_eq!(problems, serde_json::to_value(&expected.problems).unwrap(), "{}", computation.name);
        }
    }
}

#[test]
fn the_list_names_every_computation() {
    let list = Running::start().get("/api/compute").json();
    let names: Vec<&str> = list["computations"].as_array().unwrap().iter().map(|one| one["name"].as_str().unwrap()).collect();
    assert_eq!(names, registry::ALL.iter().map(|computation| computation.name).collect::<Vec<_>>());
}

#[test]
fn an_unknown_computation_is_not_here_and_the_right_names_are_said() {
    let server = Running::start();
    for path in ["/api/compute/fall", "/api/compute/%2e%2e", "/api/compute/falls%00", "/api/compute/%ff"] {
        server.post_json(path, b"{}").refused(404, "not-here");
    }
    let problems = server.post_json("/api/compute/fall", b"{}").refused(404, "not-here");
    assert!(problems[0]["right"].as_str().unwrap().contains("falls, ponding"), "{problems}");
}

#[test]
fn schemas_are_those_of_the_program() {
    let server = Running::start();
    assert_eq!(server.get("/api/schema/falls").json(), registry::find("falls").unwrap().schema());
    assert_eq!(server.get("/api/schema/room").json(), engine::schemas::of_file("room").unwrap());
    server.get("/api/schema/nothing").refused(404, "not-here");
}

#[test]
fn the_description_has_each_computation_and_the_page_each_address() {
    let server = Running::start();
    let description = server.get("/openapi.json").json();
    assert_eq!(description["openapi"], "3.1.0");
    for computation in registry::ALL {
        assert!(description["paths"][format!("/api/compute/{}", computation.name)]["post"].is_object(), "{}", computation.name);
    }
    let page = server.get("/api");
    assert_eq!(page.header("content-type"), Some("text/html; charset=utf-8"));
    let page = String::from_utf8(page.body).unwrap();
    for path in description["paths"].as_object().unwrap().keys().filter(|path| !path.starts_with("/api/compute/")) {
        assert!(page.contains(&format!("<code>{path}</code>")), "{path} is not on the page");
    }
    assert!(!page.contains("://"), "the page needs nothing from elsewhere");
    assert_eq!(server.get("/api/page.css").status, 200);
    assert_eq!(server.get("/healthz").json()["status"], "answers");
}
