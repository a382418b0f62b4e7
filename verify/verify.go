// Package verify names what was found of an archive: [Report], with the damage of
// each copy ([CopyReport], [Damage]), the years of each site ([Year]) and what is
// odd about the files that are there ([Finding]).
//
// Those who find it are beside it. Read them in this order:
//
//   - linecamp/verify/rot re-reads copies and the working folder.
//   - linecamp/verify/gather brings together what years and findings are judged by.
//   - linecamp/verify/years says which years are missing, by the figures in
//     linecamp/verify/figures.
//   - linecamp/verify/findings says what is odd about the files that are there.
//   - linecamp/verify/due, draft, deep and history answer one question each.
package verify
