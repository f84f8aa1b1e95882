//! A key of the sheet is one entry: what is made from the table of keys, by a scratch table with two keys more.

use super::form::form_with;
use crate::log::Channel;
use crate::sheet::edit::{Edit, edit_with};
use crate::sheet::keys::{KEYS, Key, Kind, Table};
use crate::sheet::read::read_with;
use crate::sheet::schema::schema_of;
use crate::sheet::starter::{StarterRun, starter_with};
use crate::units::Units;
use crate::weekend::lacks::{Place, lacks_of};

#[test]
fn a_new_key_is_in_reader_editor_schema_starter_form_and_what_the_sheet_lacks() {
    let wing = Key::new(Table::Car, "body.wing_deg", "wing angle", "12")
        .number(0.0, 45.0, "°")
        .answers("what it does to the lap")
        .asked(&[Channel::Rpm]);
    let grip = Key::new(Table::Track, "grip", "grip", "\"high\"").kind(Kind::Choice(&["high", "low"])).asked(&[]);
    let keys = [KEYS, &[wing, grip]].concat();

    let read = |text: &str| read_with(&keys, text).unwrap();
    let messages = |text: &str| read(text).mistakes.into_iter().map(|m| m.message).collect::<Vec<_>>();
    assert_eq!(messages("[cars.a]\nbody.wing_deg = 90\n"), ["`body.wing_deg` is 90, which is not possible"]);
    assert_eq!(read("[track]\ngrip = \"low\"\n").stated.text("track.grip"), Some("low"));

    let schema = schema_of(&keys);
    let car = &schema["properties"]["cars"]["additionalProperties"]["properties"];
    assert_eq!(car["body"]["properties"]["wing_deg"]["maximum"], 45.0);
    assert_eq!(schema["properties"]["track"]["properties"]["grip"]["enum"][1], "low");

    let run = StarterRun { id: "r1".into(), log: "r1.csv".into(), laps: None };
    let starter = starter_with(&keys, "x", "car", &[run], Units::Metric);
    assert!(
        starter.contains("[cars.car.body]\n# wing_deg = 12 ") && starter.contains("\n# grip = \"high\" "),
        "{starter}"
    );
    let path = ["cars", "car", "body", "wing_deg"].map(str::to_owned).to_vec();
    let edited = edit_with(&keys, &starter, &[Edit::Set { path, text: "7,5".into() }]).unwrap();
    assert!(edited.contains("[cars.car.body]\nwing_deg = 7.5 ") && !edited.contains("# wing_deg"), "{edited}");

    let form = form_with(&keys, &edited, &[]).unwrap();
    let field = |name: &str| form.fields().find(|f| f.1.name == name).map(|f| f.1.clone()).unwrap();
    let wing_field = field("/cars/car/body/wing_deg");
    assert_eq!((&*wing_field.label, wing_field.unit, &*wing_field.value), ("wing angle", "°", "7.5"));
    assert_eq!(field("/track/grip").choices(), ["high", "low"]);

    let folder = tempfile::tempdir().unwrap();
    let rows: String = (0..600).map(|n| format!("{}.{:02},{}\n", n / 20, n % 20 * 5, n % 100 * 300)).collect();
    std::fs::write(folder.path().join("r1.csv"), format!("Time [s],RPM\n{rows}")).unwrap();
    let review = crate::review::review(folder.path(), &|_, _| {}).unwrap();
    let lacks = lacks_of(&keys, &review.sheet, &review.runs);
    let asked = |key: &Key| lacks.iter().find(|l| l.key == key).map(|l| l.place.clone());
    assert_eq!(asked(&wing), Some(Place::Car("car".into())));
    assert_eq!(asked(&grip), Some(Place::Table("track")));
}
