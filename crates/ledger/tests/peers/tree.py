"""RFC 9162, 2.1, written down a second time: prints the values tests/tree.rs holds. Standard library only."""
import hashlib


def sha(data):
    return hashlib.sha256(data).digest()


def split(n):
    k = 1
    while 2 * k < n:
        k *= 2
    return k


def mth(d):
    if len(d) < 2:
        return sha(b"\0" + d[0]) if d else sha(b"")
    k = split(len(d))
    return sha(b"\1" + mth(d[:k]) + mth(d[k:]))


def path(m, d):
    if len(d) == 1:
        return []
    k = split(len(d))
    return path(m, d[:k]) + [mth(d[k:])] if m < k else path(m - k, d[k:]) + [mth(d[:k])]


def subproof(m, d, whole=True):
    if m == len(d):
        return [] if whole else [mth(d)]
    k = split(len(d))
    return subproof(m, d[:k], whole) + [mth(d[k:])] if m <= k else subproof(m - k, d[k:], False) + [mth(d[:k])]


def all_of(hashes):
    hashes = list(hashes)
    return len(hashes), hashlib.sha256(b"".join(hashes)).hexdigest()


leaves = [str(i).encode() for i in range(64)]
sizes = range(1, 65)
print("roots", *all_of(mth(leaves[:n]) for n in range(65)))
print("inclusion", *all_of(h for n in sizes for m in range(n) for h in path(m, leaves[:n])))
print("consistency", *all_of(h for n in sizes for m in range(1, n + 1) for h in subproof(m, leaves[:n])))
