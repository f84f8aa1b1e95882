//! Names of the form's fields: the path of each value, as a JSON Pointer (RFC 6901).

/// A path as a field's name.
pub fn pointer(path: &[&str]) -> String {
    path.iter().map(|p| format!("/{}", p.replace('~', "~0").replace('/', "~1"))).collect()
}

/// The path that a field's name means.
pub fn path(pointer: &str) -> Vec<String> {
    pointer.split('/').skip(1).map(|p| p.replace("~1", "/").replace("~0", "~")).collect()
}
