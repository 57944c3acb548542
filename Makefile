# Plumbline: every step a person or a machine takes, by name. `make` alone lists them.
export GOTOOLCHAIN := go1.27.3

VERSION := $(shell git describe --tags --always --dirty 2>/dev/null || echo devel)
ASSETS  := internal/assets/files/SourceSans3-LICENSE.md
GOTOOL  := go tool -modfile=tools/go.mod

.DEFAULT_GOAL := help
.PHONY: help setup assets build demo test lint bench soak clauses clean

help: ## list the targets
	@sed -n 's/^\([a-z]*\):.*## /\1\t/p' $(MAKEFILE_LIST) | while IFS="$$(printf '\t')" read -r t d; do printf '  make %-8s %s\n' "$$t" "$$d"; done

setup: ## install the Debian packages the tests use, where one is missing
	@sh scripts/setup.sh

assets: $(ASSETS) ## fetch the certificate's fonts (npm, pinned in package-lock.json)

$(ASSETS): package-lock.json internal/assets/fetch.sh
	sh internal/assets/fetch.sh

build: assets ## bin/plumbline, one static program
	CGO_ENABLED=0 go build -trimpath -buildvcs=false -ldflags '-X main.version=$(VERSION)' -o bin/plumbline ./cmd/plumbline

demo: build ## an invented calibration from recordings to certificate, in ./demo
	bin/plumbline demo --dir demo

test: setup assets ## every check; the last line counts them
	@go build -o bin/testrun ./scripts/testrun && bin/testrun

lint: assets ## static analysis, known vulnerabilities that are reached
	$(GOTOOL) golangci-lint run ./...
	@mkdir -p bin
	go run ./scripts/vulndb -o bin/vulndb
	$(GOTOOL) govulncheck -db=file://$(CURDIR)/bin/vulndb ./...

bench: setup assets ## Go beside numpy/scipy, with ratios
	@go run ./scripts/bench

soak: setup assets ## the long statistical studies (hours)
	PLUMBLINE_SOAK=1 go test -count=1 -timeout 6h ./...

clauses: ## rewrite CLAUSES.md from the sources
	go run ./internal/clauses/cmd

clean: ## remove what the other targets made
	rm -rf bin demo node_modules
	find internal/assets/files -type f ! -name .keep -delete
