/// Reads, measures and closes whatever comes.
pub fn read(bytes: &[u8]) {
    use tankside::mesh;
    if let Ok(print) = mesh::read(bytes) {
        let measure = mesh::measure(&print, mesh::LengthUnit::Mm);
        assert!(measure.naive_area_mm2.is_finite());
        mesh::is_closed(&print);
    }
}
