//! Generated rain against exact laws and against the closed form.
