/// A room file from its bytes to the form everything works on; whether it is sound.
pub fn room(bytes: &[u8]) -> bool {
    match intake::json::read::<room::Room>("room.json", bytes) {
        Err(problems) => {
            assert!(!problems.to_string().is_empty(), "a refusal says why");
            false
        }
        Ok(room) => {
            let sound = room::validate::check(&room).is_empty();
            if sound {
                let normal = room::validate::normalised(&room);
                assert_eq!(normal.outline_mm.len(), room.outline_mm.len(), "making a room normal keeps its corners");
            }
            sound
        }
    }
}
