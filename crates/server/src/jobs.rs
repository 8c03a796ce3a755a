//! Jobs: what is in their records, what is added, and whether a layer may be covered.

use crate::asked::{self, Asked, Named};
use crate::problem::{NOT_HERE, Refusal};
use crate::record;
use crate::reply::{self, Reply};
use crate::routes::Site;
use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::Response;
use engine::assess::Options;
use job::Job;
use ledger::Hash;
use measure::{Problem, Problems};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use store::{Error, LogState, Page, Store};

/// Every job.
#[derive(Serialize, JsonSchema)]
pub struct Jobs {
    /// Their ids, sorted.
    jobs: Vec<String>,
}

/// A job to begin.
#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NewJob {
    /// Who brings it in.
    author: String,
    /// The JSON and CSV files of a job folder by name, each as text; `room.json` must be there.
    files: BTreeMap<String, String>,
}

/// A job that was begun.
#[derive(Serialize, JsonSchema)]
pub struct Begun {
    /// Its id.
    job: String,
    /// Files that are in its record.
    files: usize,
}

/// A job's logs.
#[derive(Serialize, JsonSchema)]
pub struct Logs {
    /// Sorted by name.
    logs: Vec<Log>,
}

/// A log as it stands.
#[derive(Serialize, JsonSchema)]
struct Log {
    /// The device whose log it is, or the job's id for the job log.
    log: String,
    /// Entries.
    size: u64,
    /// Root over them (RFC 9162), in hex.
    root: String,
}

/// A job's files.
#[derive(Serialize, JsonSchema)]
pub struct FileNames {
    /// Sorted; photographs are named too.
    files: Vec<String>,
}

/// What became of events handed in: all of it is on the disk.
#[derive(Serialize, JsonSchema)]
pub struct Kept {
    /// Events that are new.
    added: u64,
    /// Events that were there, byte for byte.
    known: u64,
    /// The logs that were touched, as they are now.
    logs: Vec<Log>,
    /// Blobs that these events name and that are not here yet.
    missing_blobs: Vec<String>,
}

/// What to assess.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AssessmentOf {
    hold_point: Option<String>,
    at: Option<String>,
}

/// Where to begin.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct From {
    #[serde(default)]
    from: u64,
}

impl Log {
    fn of(state: LogState) -> Self {
        Self { log: state.log, size: state.size, root: state.root.to_string() }
    }
}

/// `GET /api/jobs`
pub async fn list(State(site): State<Arc<Site>>) -> Reply {
    site.reading(|store| Ok(reply::json(&Jobs { jobs: store.jobs()? }))).await
}

/// `POST /api/jobs`
pub async fn begin(State(site): State<Arc<Site>>, request: Request) -> Reply {
    let place = site.work.place()?;
    let body = asked::json(request).await?;
    let store = Arc::clone(&site.store);
    let begin = move || {
        let new: NewJob = intake::json::read("", &body)?;
        let files = new.into_files()?;
        let nothing = &mut |name: &str| Err(Error::NotHere(name.into()));
        let taken = record::take_in(&files.0, nothing, &*store, &files.1)?;
        Ok(taken)
    };
    let taken = place.run(begin).await?;
    let mut response = reply::json(&Begun { job: taken.job.clone(), files: taken.files });
    *response.status_mut() = StatusCode::CREATED;
    let place = HeaderValue::from_str(&format!("/api/jobs/{}/files", taken.job)).expect("a UUID is plain text");
    response.headers_mut().insert(header::LOCATION, place);
    Ok(response)
}

impl NewJob {
    /// Files and author, if every file is one that stands in an event.
    fn into_files(self) -> Result<(job::folder::Files, String), Problems> {
        let mut problems = Problems::new();
        if !self.files.contains_key("room.json") {
            problems.push(Problem::at("files", "there is no room.json", "a job folder has one"));
        }
        for name in self.files.keys() {
            let ending = Path::new(name).extension().and_then(|ending| ending.to_str()).unwrap_or("").to_ascii_lowercase();
            if !["json", "csv"].contains(&ending.as_str()) {
                let right = "JSON and CSV files; `undertile record import` also takes photographs";
                problems.push(Problem::at("files", "is neither JSON nor CSV", right).value(name));
            }
        }
        problems.or((self.files.into_iter().map(|(name, text)| (name, text.into_bytes())).collect(), self.author))
    }
}

/// `GET /api/jobs/{job}/assessment`
pub async fn assessment(
    State(site): State<Arc<Site>>,
    Named(job): Named<String>,
    Asked(asked): Asked<AssessmentOf>,
    headers: HeaderMap,
) -> Reply {
    let assess = move |store: &dyn Store| {
        there(store, &job)?;
        let now = asked.at.unwrap_or_else(|| jiff::Timestamp::now().to_string());
        let job = Job::read(&record::folder(store, &job)?)?;
        let options = Options { hold_point: asked.hold_point.as_deref(), now: Some(&now), drawings: false };
        let assessed = engine::assess::run(&job, &options)?;
        Ok(tagged(reply::json_bytes(&assessed.assessment), "application/json", &headers))
    };
    site.reading(assess).await
}

/// `GET /api/jobs/{job}/files`
pub async fn files(State(site): State<Arc<Site>>, Named(job): Named<String>) -> Reply {
    let names = move |store: &dyn Store| {
        there(store, &job)?;
        Ok(reply::json(&FileNames { files: record::state(store, &job)?.files.into_keys().collect() }))
    };
    site.reading(names).await
}

/// `GET /api/jobs/{job}/files/{file}`
pub async fn file(State(site): State<Arc<Site>>, Named((job, name)): Named<(String, String)>, headers: HeaderMap) -> Reply {
    let read = move |store: &dyn Store| {
        there(store, &job)?;
        let mut state = record::state(store, &job)?;
        let text = !state.photographs.contains_key(&name);
        let Some(bytes) = state.files.remove(&name).filter(|_| text) else {
            return Err(Refusal::of(
                &NOT_HERE,
                Problem::at("name", "no text file of that name", "one that the list of files has").value(name),
            ));
        };
        let media_type = if name.to_ascii_lowercase().ends_with(".json") { "application/json" } else { "text/csv" };
        Ok(tagged(bytes, media_type, &headers))
    };
    site.reading(read).await
}

/// `GET /api/jobs/{job}/logs`
pub async fn logs(State(site): State<Arc<Site>>, Named(job): Named<String>) -> Reply {
    let read = move |store: &dyn Store| Ok(reply::json(&Logs { logs: there(store, &job)?.into_iter().map(Log::of).collect() }));
    site.reading(read).await
}

/// `GET /api/jobs/{job}/logs/{log}`
pub async fn log(State(site): State<Arc<Site>>, Named((job, log)): Named<(String, String)>, Asked(asked): Asked<From>) -> Reply {
    let read = move |store: &dyn Store| {
        let Some(state) = there(store, &job)?.into_iter().find(|state| state.log == log) else {
            return Err(Refusal::of(&NOT_HERE, Problem::at("log", "no log of that name", "one that the list of logs has").value(log)));
        };
        let entries = if asked.from < state.size { store.read(&job, &log, asked.from, Page::default())? } else { Vec::new() };
        let next = asked.from.saturating_add(entries.len() as u64);
        let mut response = reply::bytes("application/jsonl", lines(entries));
        if next < state.size {
            let link = format!("</api/jobs/{job}/logs/{log}?from={next}>; rel=\"next\"");
            response.headers_mut().insert(header::LINK, HeaderValue::from_str(&link).expect("names of jobs and logs are plain text"));
        }
        Ok(response)
    };
    site.reading(read).await
}

/// `POST /api/jobs/{job}/events`
pub async fn add(State(site): State<Arc<Site>>, Named(job): Named<String>, request: Request) -> Reply {
    let place = site.work.place()?;
    let body = asked::lines(request).await?;
    let store = Arc::clone(&site.store);
    let add = move || {
        there(&*store, &job)?;
        let appended = store.append(&job, record::batch(&body)?)?;
        Ok(reply::json(&Kept {
            added: appended.added,
            known: appended.known,
            logs: appended.logs.into_iter().map(Log::of).collect(),
            missing_blobs: appended.missing.iter().map(Hash::to_string).collect(),
        }))
    };
    place.run(add).await
}

/// The logs of a job that is here.
fn there(store: &dyn Store, job: &str) -> Result<Vec<LogState>, Refusal> {
    let logs = store.logs(job)?;
    if logs.is_empty() {
        return Err(Refusal::of(&NOT_HERE, Problem::at("job", "no job of that id", "one that /api/jobs lists").value(job)));
    }
    Ok(logs)
}

fn lines(entries: Vec<Vec<u8>>) -> Vec<u8> {
    let mut text = Vec::with_capacity(entries.iter().map(|entry| entry.len() + 1).sum());
    for entry in entries {
        text.extend_from_slice(&entry);
        text.push(b'\n');
    }
    text
}

/// An answer with its tag (RFC 9110, 8.8.3), or that it is still the one the asker has (13.1.2).
fn tagged(bytes: Vec<u8>, media_type: &'static str, headers: &HeaderMap) -> Response {
    let tag = format!("\"{}\"", Hash::of(&bytes));
    let has = |value: &HeaderValue| {
        let mut tags = value.to_str().unwrap_or("").split(',').map(str::trim);
        tags.any(|there| there == "*" || there.strip_prefix("W/").unwrap_or(there) == tag)
    };
    let mut response = if headers.get_all(header::IF_NONE_MATCH).iter().any(has) {
        let mut same = Response::new(Body::empty());
        *same.status_mut() = StatusCode::NOT_MODIFIED;
        same
    } else {
        reply::bytes(media_type, bytes)
    };
    response.headers_mut().insert(header::ETAG, HeaderValue::from_str(&tag).expect("hex is plain text"));
    response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-cache"));
    response
}
