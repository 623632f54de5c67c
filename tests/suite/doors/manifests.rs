//! Which crate of the workspace may depend on which, and on what else.

use std::fs;

use super::{assert_none, root};

#[test]
fn manifests_keep_the_doors_between_crates() {
    for (dir, check) in [
        ("service/engine", engine_manifest as fn(&Manifest) -> Vec<String>),
        ("openapi", contract_manifest),
        ("client", client_manifest),
        ("service", service_manifest),
    ] {
        let text = fs::read_to_string(root().join(dir).join("Cargo.toml")).unwrap();
        let manifest = Manifest::read(&text);
        assert!(!manifest.dependencies.is_empty(), "{dir}/Cargo.toml: no dependency was read");
        let faults: Vec<String> =
            check(&manifest).into_iter().map(|fault| format!("{dir}/Cargo.toml: {fault}")).collect();
        assert_none(&faults);
    }
}

/// The dependency lists of a Cargo.toml, read line by line: enough for the plain form that ours keep.
struct Manifest {
    /// (table, crate, the rest of its line)
    dependencies: Vec<(String, String, String)>,
}

impl Manifest {
    fn read(text: &str) -> Self {
        let mut dependencies = Vec::new();
        let mut table = String::new();
        for line in text.lines().map(|line| line.split('#').next().unwrap_or(line).trim()) {
            if let Some(header) = line.strip_prefix('[') {
                header.trim_end_matches(']').clone_into(&mut table);
                // `[dependencies.name]` is an entry as well as a table.
                if let Some((before, name)) = table.rsplit_once("dependencies.") {
                    dependencies.push((format!("{before}dependencies"), name.to_owned(), String::new()));
                }
            } else if table.ends_with("dependencies")
                && let Some((key, value)) = line.split_once('=')
            {
                let (name, detail) = key.trim().split_once('.').unwrap_or((key.trim(), ""));
                let detail = format!("{detail} {}", value.trim());
                dependencies.push((table.clone(), name.trim_matches('"').to_owned(), detail));
            }
        }
        Self { dependencies }
    }

    /// Dependencies that are ours or listed in `without`, in whatever table, save `allowed`.
    fn refused(&self, allowed: &[&str], without: &[&str]) -> Vec<String> {
        self.dependencies
            .iter()
            .filter(|(_, name, detail)| {
                let ours = name.starts_with("eavesward-") && !allowed.contains(&name.as_str());
                // A new name for a crate would pass every other check by.
                ours || without.contains(&name.as_str()) || detail.contains("package")
            })
            .map(|(table, name, _)| format!("[{table}] may not hold {name}"))
            .collect()
    }
}

fn engine_manifest(manifest: &Manifest) -> Vec<String> {
    manifest.refused(
        &[],
        &[
            "chrono",
            "chrono-tz",
            "serde",
            "serde_json",
            "log",
            "tracing",
            "rand",
            "getrandom",
            "tokio",
            "uuid",
        ],
    )
}

fn contract_manifest(manifest: &Manifest) -> Vec<String> {
    let mut faults = manifest.refused(
        &[],
        &["actix-web", "sqlx", "sqlx-core", "sqlx-postgres", "sqlx-sqlite", "tokio", "reqwest", "rustls"],
    );
    for (_, _, detail) in manifest.dependencies.iter().filter(|(_, name, _)| name == "utoipa") {
        if !detail.contains("optional = true") {
            faults.push("utoipa has to be optional, or every SDK user builds it".to_owned());
        }
    }
    faults
}

fn client_manifest(manifest: &Manifest) -> Vec<String> {
    let mut faults = manifest.refused(
        &["eavesward-contract"],
        &["actix-web", "sqlx", "sqlx-core", "sqlx-postgres", "sqlx-sqlite", "utoipa"],
    );
    for (_, _, detail) in manifest.dependencies.iter().filter(|(_, name, _)| name == "eavesward-contract") {
        if detail.contains("openapi") {
            faults.push("eavesward-contract's feature openapi is the service's alone".to_owned());
        }
    }
    faults
}

fn service_manifest(manifest: &Manifest) -> Vec<String> {
    manifest.refused(&["eavesward-contract", "eavesward-engine"], &["openssl", "native-tls", "rand"])
}

mod can_fail {
    use super::*;

    #[test]
    fn manifests() {
        let faults = |check: fn(&Manifest) -> Vec<String>, text: &str| check(&Manifest::read(text)).len();
        assert_eq!(faults(engine_manifest, "[dependencies]\nstatrs.workspace = true # serde = 1\n"), 0);
        assert_eq!(faults(engine_manifest, "[dependencies]\nserde.workspace = true\n"), 1);
        assert_eq!(faults(engine_manifest, "[dependencies.chrono]\nversion = \"1\"\n"), 1);
        assert_eq!(faults(engine_manifest, "[target.'cfg(unix)'.dependencies]\nlog = \"1\"\n"), 1);
        assert_eq!(faults(engine_manifest, "[dev-dependencies]\neavesward-service = { path = \"..\" }\n"), 1);
        assert_eq!(
            faults(engine_manifest, "[dependencies]\nday = { package = \"chrono\", version = \"1\" }\n"),
            1
        );
        assert_eq!(
            faults(contract_manifest, "[dependencies]\nutoipa = { version = \"6\", optional = true }\n"),
            0
        );
        assert_eq!(faults(contract_manifest, "[dependencies]\nutoipa.workspace = true\n"), 1);
        assert_eq!(faults(client_manifest, "[dependencies]\neavesward-contract.workspace = true\n"), 0);
        let switched_on = "[dependencies]\neavesward-contract = { path = \"x\", features = [\"openapi\"] }\n";
        assert_eq!(faults(client_manifest, switched_on), 1);
        assert_eq!(faults(client_manifest, "[dependencies]\neavesward-engine.workspace = true\n"), 1);
        assert_eq!(faults(service_manifest, "[dev-dependencies]\neavesward-client.workspace = true\n"), 1);
    }
}
