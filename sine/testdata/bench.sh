#!/bin/sh
# The approximation in Go beside numpy and scipy doing the same work, with the ratio of their times. Run from anywhere; one core.
set -e
cd "$(dirname "$0")/.."
go=$(mktemp) && py=$(mktemp) && trap 'rm -f "$go" "$py"' EXIT
go test -run '^$' -bench '^BenchmarkAccumulator$' -cpu 1 -benchtime 0.1s -count 15 . >"$go"
/usr/bin/python3 testdata/bench_scipy.py >"$py"
awk -F: 'NR == FNR { if ($0 ~ /^BenchmarkAccumulator/) { split($0, part, /  +|\t/); name = part[1]; sub(/^BenchmarkAccumulator\//, "", name); gsub(/_/, " ", name)
	for (i = 2; i in part; i++) if (part[i] ~ /ns\/op/) { ms = part[i] / 1e6; if (!(name in best) || ms < best[name]) best[name] = ms } } next }
	{ name = $1; sub(/ (batched|lstsq)$/, "", name); split($2, v, " "); printf "%-20s Go %9.3f ms, Python %10.3f ms, Python/Go %8.1f\n", $1, best[name], v[1], v[1] / best[name] }' "$go" "$py"
