//! What goes wrong around the service: disks that are full or fail, databases that do not answer, attempts that end
//! without an answer.

mod attempts;
mod disk;
mod hang;
