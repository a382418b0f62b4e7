// Package verify names what was found of an archive: [Report], with the damage of
// each copy ([CopyReport], [Damage]), the years of each site ([Year]) and what is
// odd about the files that are there ([Finding]).
//
// Those who find it are beside it: linecamp/verify/rot re-reads copies and the
// working folder.
//
// # Years
//
// [Gather] turns what the working folder holds, what the manifests remember and
// what the checks found into plain data, and [Years] judges that: each year of
// each site is whole, short, skipped, recoverable, lost, due or explained. The
// rules are written down with [Years]; they would rather be late than wrong.
package verify
