# Nothing but Go and make is needed to build and to run the demo.
# `make help` lists the targets.

SHELL := /bin/bash
.DEFAULT_GOAL := help
.PHONY: help demo build test install fmt vet vulncheck race faults bench microbench fuzz screenshots cover clean

ARGS ?=
PKG ?= ./...
FUZZTIME ?= 1m

# The race detector watches all but SQLite, which is C made into Go: five times slower when it is
# watched, with locks of its own and nothing to tell of our code. Just that package: what other
# code calls must say what it locks, and a package also holds copies of what is generic in those
# that it imports. internal/faults says the same.
RACE := -race -gcflags=modernc.org/sqlite/lib=-race=false

help: ## say what there is
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "make %-12s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

demo: build ## build, then serve the demo fleet on loopback; ARGS="--database FILE" keeps it
	@bin/brakewear demo $(ARGS)

build: ## build bin/brakewear, one static file
	@CGO_ENABLED=0 go build -o bin/brakewear ./cmd/brakewear

# What `make test` runs, in the order of how soon each step can fail.
test: install fmt vet vulncheck race ## install what is missing, then check everything, on both databases and in a browser

install:
	@.ci/install

fmt:
	@unformatted=$$(gofmt -l .); \
	if [ -n "$$unformatted" ]; then printf 'gofmt -w these:\n%s\n' "$$unformatted"; exit 1; fi

vet:
	go vet ./...
	go tool staticcheck ./...

vulncheck:
	@.ci/vulncheck

# A test that finds no PostgreSQL or no browser skips; here it must fail.
# vet has run already.
race:
	BRAKEWEAR_REQUIRE_POSTGRES=1 BRAKEWEAR_REQUIRE_BROWSER=1 \
		go test $(RACE) -vet=off -timeout 80m $(PKG)

faults: install ## show what a crash, a full disk, a lost server or a wrong clock does, as a table; ARGS="-run Clock"
	@BRAKEWEAR_REQUIRE_POSTGRES=1 go run ./internal/faults -race $(ARGS)

bench: build ## measure fleets of three sizes beside their ceilings, into bin/bench; ARGS="--vehicles 10000"
	@bin/brakewear bench --out bin/bench $(ARGS)

microbench: ## run the benchmarks of packages; PKG=./forecast for one
	go test -run '^$$' -bench . -benchmem -timeout 60m $(PKG)

fuzz: ## run every fuzz target for FUZZTIME (1m) each
	@.ci/fuzz $(FUZZTIME)

screenshots: ## draw the pictures of the README from the demo fleet
	go test ./dashboard -count=1 -run '^TestPictures$$' -args -pictures $(CURDIR)/internal/guide/pictures
	@ls -l internal/guide/pictures

cover: ## test, and say which share of each package's statements ran
	@mkdir -p bin
	go test -coverprofile bin/cover.out -coverpkg ./... $(PKG)
	go tool cover -func bin/cover.out | tail -1
	@echo "go tool cover -html bin/cover.out shows the lines"

clean: ## remove what was built
	rm -rf bin
