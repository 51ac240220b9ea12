//! Reading a plan from a file: the only place in `guidance` that touches one.

use std::path::Path;

use super::{Plan, PlanError, Source};

impl Plan {
    /// Reads a plan. A machine profile named by a path is looked for beside the plan.
    ///
    /// # Errors
    /// [`PlanError::Read`] when the file cannot be read, [`PlanError::Content`] when something in it is wrong.
    pub fn load(path: &Path) -> Result<Self, PlanError> {
        let file = path.display().to_string();
        match std::fs::read_to_string(path) {
            Ok(text) => {
                let folder = path.parent().unwrap_or(Path::new(""));
                Self::parse(&Source::new(&file, &text), &|name| std::fs::read_to_string(folder.join(name)))
            }
            Err(source) => Err(PlanError::Read { file, source }),
        }
    }
}
