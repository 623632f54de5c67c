//! One file or folder per subcommand. To add one, write its arguments and `run` here, a line in `args::Command` and
//! an arm in `dispatch`.

pub mod account;
pub mod audit;
pub mod calendar;
pub mod component;
pub mod digest;
pub mod due;
pub mod duty;
pub mod forecast;
pub mod gauge;
pub mod key;
pub mod manual;
pub mod part;
pub mod profile;
pub mod property;
pub mod rain;
pub mod reminders;
pub mod rounds;
pub mod skill;
pub mod status;
pub mod subscription;
pub mod system;
pub mod visit;
pub mod watch;
