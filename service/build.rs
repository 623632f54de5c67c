//! Migrations are read when the service is compiled; a new file among them must compile it again.

fn main() {
    println!("cargo:rerun-if-changed=migrations");
}
