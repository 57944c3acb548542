#!/bin/sh
# Fetches the fonts that the binary carries: versions and digests are those of package-lock.json.
set -eu
cd "$(dirname "$0")/../.."
npm ci --ignore-scripts --no-audit --no-fund
from=node_modules/source-sans
into=internal/assets/files
for face in Regular Semibold Bold It; do
	install -m 644 "$from/TTF/SourceSans3-$face.ttf" "$into/SourceSans3-$face.ttf"
done
install -m 644 "$from/LICENSE.md" "$into/SourceSans3-LICENSE.md"
