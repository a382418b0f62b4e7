// Package verify answers what does exist: it re-reads what the copies and the
// working folder hold, and says which years of the record are missing.
//
// # Rot
//
// A copy is judged by its own manifests, and those by everyone else's. For each
// site [Rot] takes the newest inventory this copy committed, checks it and all
// earlier ones against their sidecars, against the seal and against the newest
// inventory known anywhere, and then looks for every file they name:
//
//   - gone: the manifest names it, the copy does not have it. A version that was
//     committed without bytes nobody had shows up here too.
//   - altered: it is there, with other bytes.
//   - unreadable: the drive or the service failed to hand it out.
//   - stray: a file on the copy that no manifest names. Strays are reported and
//     never touched.
//
// A copy that lacks whole versions which it never had is behind, and one whose
// root pair lags after a crash is unfinished; neither is damage. Content under a
// version that is not committed yet is being built and is no stray.
//
// Only bytes that came from the copy and matched their SHA-256 count as read
// back. What a quick check compares (sizes, XXH64, ETags) is counted as
// matched, and what an S3 service says it checked on upload as confirmed.
//
// # Working
//
// The working folder belongs to people, so a difference there is a change
// until it cannot be one: [Working] calls a file altered only if its size and
// modification time are those of the record and its bytes are not.
//
// # Years
//
// [Gather] turns what the working folder holds, what the manifests remember and
// what the checks found into plain data, and [Years] judges that: each year of
// each site is whole, short, skipped, recoverable, lost, due or explained. The
// rules are written down with [Years]; they would rather be late than wrong.
package verify
