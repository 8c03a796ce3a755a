/// A line as an event, a signed head and a receipt; whether it is one of them.
pub fn ledger(line: &[u8]) -> bool {
    let event = ledger::Event::read(line).map(|event| {
        let kept = ledger::EventBytes::read(line.to_vec()).expect("what reads is kept");
        assert_eq!(kept.as_bytes(), line, "an event is kept as it came");
        assert_eq!(kept.event().payload.get(), event.payload.get());
    });
    let head = ledger::SignedHead::read(line).map(|(signed, head)| {
        let again = ledger::SignedHead::read(signed.to_line().as_bytes()).expect("a head that reads is written so that it reads");
        assert_eq!(again, (signed.clone(), head));
        let _ = signed.check();
    });
    let receipt = ledger::Receipt::read(line).map(|receipt| {
        let again = ledger::Receipt::read(receipt.to_line().as_bytes()).expect("a receipt that reads is written so that it reads");
        assert_eq!((again.size, again.root, again.head), (receipt.size, receipt.root, receipt.head));
    });
    let mut verifier = ledger::Verifier::new();
    for (log, end) in [("job", ".jsonl"), ("00112233445566778899aabbccddeeff", ".jsonl"), ("job", ".heads.jsonl")] {
        verifier.feed(&format!("logs/{log}{end}"), line);
    }
    assert!(!verifier.finish().is_sound(), "no record.json, no sound record");
    for problems in [event.as_ref().err(), head.as_ref().err(), receipt.as_ref().err()].into_iter().flatten() {
        assert!(!problems.to_string().is_empty(), "a refusal says why");
    }
    event.is_ok() || head.is_ok() || receipt.is_ok()
}
