#!/bin/sh
# Makes samples of what this checkout's program leaves: sh testdata/samples/make.sh FILE
#
# The program runs with a clock three years behind, by a changed time.Now, so that
# no machine that reads the samples later thinks they come from the future.
set -eu
into=$(realpath "$1")
cd "$(dirname "$0")/../.."
clock=$(mktemp -d)
trap 'rm -r "$clock"' EXIT
std=$(go env GOROOT)/src/time/time.go
sed 's/^\tsec += unixToInternal - minWall$/& - 3*365*86400/' "$std" >"$clock/time.go"
! cmp -s "$std" "$clock/time.go"
printf '{"Replace": {"%s": "%s"}}\n' "$std" "$clock/time.go" >"$clock/overlay.json"
go test -count=1 -tags samples -overlay "$clock/overlay.json" ./cmd/linecamp -run TestMakeSamples -samples.into "$into"
