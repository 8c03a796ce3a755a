#!/usr/bin/env python3
"""Checks a record by docs/format.md: python3 verify.py FOLDER. Standard library only. Ends with 0 when all is sound, else 1."""
import functools, hashlib, json, pathlib, sys

P, L = 2**255 - 19, 2**252 + 27742317777372353535851937790883648493  # Ed25519: RFC 8032, 5.1
D = -121665 * pow(121666, -1, P) % P

def add(a, b):
    (x1, y1), (x2, y2) = a, b
    k = D * x1 * x2 * y1 * y2
    return (x1 * y2 + x2 * y1) * pow(1 + k, -1, P) % P, (y1 * y2 + x1 * x2) * pow(1 - k, -1, P) % P

def times(n, a):
    r = (0, 1)
    while n:
        r, a, n = add(r, a) if n & 1 else r, add(a, a), n >> 1
    return r

def point(raw):
    n = int.from_bytes(raw, "little")
    y, odd = n % 2**255, n >> 255
    square = (y * y - 1) * pow(D * y * y + 1, -1, P) % P
    x = pow(square, (P + 3) // 8, P)
    x = x if x * x % P == square else x * pow(2, (P - 1) // 4, P) % P
    need(y < P and x * x % P == square and (x or not odd), "no point of the curve")
    return (x if x % 2 == odd else P - x), y

@functools.cache
def is_signed(key, text, signature):
    a, r, s = point(key), point(signature[:32]), int.from_bytes(signature[32:], "little")
    k = int.from_bytes(hashlib.sha512(signature[:32] + key + text).digest(), "little")
    strict = s < L and (0, 1) not in (times(8, a), times(8, r))
    return strict and times(s, point(bytes([0x58] + [0x66] * 31))) == add(r, times(k % L, a))

def need(holds, what):
    if not holds:
        raise ValueError(what)

def sha(data):
    return hashlib.sha256(data).digest()

def root(leaves):  # RFC 9162, 2.1.1
    if len(leaves) < 2:
        return leaves[0] if leaves else sha(b"")
    k = 1 << (len(leaves) - 1).bit_length() - 1
    return sha(b"\1" + root(leaves[:k]) + root(leaves[k:]))

def signed_head(line, log, owner):  # size and root of the head that a signed head or a receipt holds
    head, key = json.loads(line["head"]), bytes.fromhex(line["key"])
    need(head["log"] == log and sha(key).hex()[:32] == owner, "a head of another log or by another key")
    need(is_signed(key, line["head"].encode(), bytes.fromhex(line["signature"])), "the signature does not fit")
    return head["size"], bytes.fromhex(head["root"])

def lines_of(path):
    *lines, last = path.read_bytes().split(b"\n") if path.exists() else [b""]
    try:  # a last line without a line break is an entry if it holds a whole one, else what a cut-off append left
        json.JSONDecoder().raw_decode(last.decode())
        return lines + [last]
    except ValueError:
        return lines

def read_entry(line, name, heads, named):  # the place an event claims; a receipt claims none
    e = json.loads(line)
    if name == "job":
        size, top = signed_head(e, e["device"], e["device"])
        need((size, top.hex()) == (e["size"], e["root"]), "says another size or root than its head")
        heads.setdefault(e["device"], []).append((size, top))
        return None
    need(e["device"] == name, "an event of another device")
    named.update(dict.fromkeys(e.get("blobs", []), f"{name} entry {e['seq']}"))
    return e["seq"]

def check_log(leaves, places, hashes, heads):  # what is wrong by place, and how many entries a head proves
    fits = lambda known: max([n for n, top in heads if n <= len(known) and root(known[:n]) == top], default=0)
    best = max(leaves, hashes, key=fits)
    known, proven, bad, at, first = best[: fits(best)] + hashes[fits(best) :], fits(best), {}, {}, len(leaves)
    for i, leaf in enumerate(leaves):
        at.setdefault(leaf, []).append(i)
        if leaf not in known[: i + 1] and (i < len(known) and leaf not in known or i >= len(known) and places[i] not in (i, None)):
            bad[i] = f"altered, or none of the log's ({places[i]})"
    for k in reversed(range(len(known))):
        here = at.get(known[k], [])
        if len(here) != 1 or places[here[0]] not in (k, None) or here[0] > first:
            bad[k] = bad.get(k, "missing") if not here else "stands twice, out of order, or is no entry of this log"
        first = min([first] + here)
    beyond, found = [n for n, _ in heads if n > proven], max(len(leaves), len(known))
    if beyond and max(beyond) > found:
        bad.setdefault(found, f"missing: a signed head covers {max(beyond)} entries")
    if beyond and min(beyond) <= found and not any(proven <= k < min(beyond) for k in bad):
        bad[proven] = f"altered: one of the entries {proven} to {min(beyond) - 1}"
    return bad, proven

def main(folder):
    record, wrong, heads, named, logs = json.loads((folder / "record.json").read_bytes()), 0, {}, {}, folder / "logs"
    need(record["format"] == "undertile record 1", "another format")
    for name in sorted({p.name.split(".")[0] for p in logs.iterdir()}, key=lambda name: (name != "job", name)):
        log, places = record["job"] if name == "job" else name, []
        for i, line in enumerate(lines_of(logs / f"{name}.heads.jsonl")):
            try:
                signer = record.get("site", sha(bytes.fromhex(json.loads(line)["key"])).hex()[:32]) if name == "job" else name
                heads.setdefault(log, []).append(signed_head(json.loads(line), log, signer))
            except Exception as error:
                wrong += print(f"{name} head {i}: {error}") or 1
        lines = lines_of(logs / f"{name}.jsonl")
        for line in lines:  # the job log comes first: its receipts speak for the others
            try:
                places.append(read_entry(line, name, heads, named))
            except Exception as error:
                places.append(str(error))
        hashes = [bytes.fromhex(line.decode()) if len(line) == 64 else b"" for line in lines_of(logs / f"{name}.hashes")]
        bad, proven = check_log([sha(b"\0" + line) for line in lines], places, hashes, heads.get(log, []))
        print(f"{name}: {len(lines)} entries, {proven} under a signed head, {len(bad) or 'none'} damaged")
        wrong += len([print(f"{name} entry {k}: {bad[k]}") for k in sorted(bad)])
    blobs = {p.name: p for p in folder.glob("blobs/*/*")}
    for name, path in blobs.items():
        with path.open("rb") as file:
            wrong += hashlib.file_digest(file, "sha256").hexdigest() != name and (print(f"blob {name}: altered") or 1)
    for name in named.keys() - blobs.keys():
        print(f"blob {name}: not here, though {named[name]} names it")
    return 1 if wrong else 0

if __name__ == "__main__":
    sys.exit(main(pathlib.Path(sys.argv[1])))
