//! The registry of computations and the schemas.

use crate::asked::{Named, json};
use crate::problem::{NOT_HERE, Refusal};
use crate::reply::{self, Reply};
use crate::routes::Site;
use axum::extract::{Request, State};
use engine::registry::{self, Computation};
use measure::{Problem, Problems};
use schemars::JsonSchema;
use serde::Serialize;
use std::sync::Arc;

/// Every computation.
#[derive(Serialize, JsonSchema)]
pub struct List {
    computations: Vec<Listed>,
}

/// One computation.
#[derive(Serialize, JsonSchema)]
struct Listed {
    /// Name in the address.
    name: &'static str,
    /// What it answers.
    help: &'static str,
    /// Where its method comes from.
    sources: &'static [&'static str],
}

/// `GET /api/compute`
pub async fn list() -> Reply {
    let listed = |c: &Computation| Listed { name: c.name, help: c.help, sources: c.sources };
    Ok(reply::json(&List { computations: registry::ALL.iter().map(listed).collect() }))
}

/// `POST /api/compute/{name}`
pub async fn run(State(site): State<Arc<Site>>, Named(name): Named<String>, request: Request) -> Reply {
    let computation = registry::find(&name).map_err(not_here)?;
    let place = site.work.place()?;
    let input = json(request).await?;
    let output = place.run(move || Ok(computation.run(&input)?)).await?;
    Ok(reply::bytes("application/json", output))
}

/// `GET /api/schema/{name}`
pub async fn schema(Named(name): Named<String>) -> Reply {
    let schema = match engine::schemas::of_file(&name) {
        Some(schema) => schema,
        None => match registry::find(&name) {
            Ok(computation) => computation.schema(),
            Err(_) => {
                let names: Vec<&str> = names().collect();
                let problem = Problem::at("", "no computation or file of that name", format!("one of: {}", names.join(", ")));
                return Err(Refusal::of(&NOT_HERE, problem.value(name)));
            }
        },
    };
    Ok(reply::json(&schema))
}

/// What has a schema: computations and files of the job folder.
pub fn names() -> impl Iterator<Item = &'static str> {
    registry::ALL.iter().map(|c| c.name).chain(engine::schemas::FILES.iter().map(|file| file.name))
}

fn not_here(problems: Problems) -> Refusal {
    Refusal::all(&NOT_HERE, problems)
}
