# make demo    the built-in plan and a yard that is not there, loopback only
# make test    every check there is; as root it first installs what it needs
# make bench   figures beside the floor of this machine
# make judge   how often the diagnosis is right
# make package what people install

GO ?= go

# What the tests need beyond Go: PROGRAM:DEBIAN-PACKAGE.
TOOLS = curl:curl ip:iproute2 strace:strace setpriv:util-linux nft:nftables tshark:tshark tc:iproute2 ethtool:ethtool gcc:gcc ngspice:ngspice glpsol:glpk-utils zbarimg:zbar-tools chromium-headless-shell:chromium-headless-shell ffmpeg:ffmpeg npm:npm \
	zip:zip lintian:lintian man:man-db zsh:zsh fish:fish systemd-analyze:systemd

build:
	$(GO) build -o bin/yardproof ./cmd/yardproof

demo: build
	bin/yardproof rehearse --demo

# Everything is built one way, for the compiler's work to be shared, and only the
# race detector needs cgo. What lint vetted is not vetted again. Nobody looks at a test
# with a debugger, whose tables take a fifth of the linking.
test lint alloc browser schema cross sums: export GOFLAGS := -trimpath -ldflags=-w $(GOFLAGS)
test lint alloc browser schema cross sums: export CGO_ENABLED := 0

# The browser waits more than it works, the compiler never: they go side by side, and while
# the tools come. So do three packages' tests, some of which wait for most of their time;
# those that take longest begin first, for none to be left alone at the end.
test:
	$(MAKE) --jobs=2 --output-sync=target compiler build
	$(MAKE) --jobs=2 --output-sync=target browser untimed
	CGO_ENABLED=1 $(GO) test -race -vet=off -p 3 ./cmd/yardproof ./deploy ./sacn/... ./cmd/yardproof/internal/web ./...

# What may take longer when the browser is at work, one after the other: as targets of the same
# make each would take the place that the browser waits for.
untimed:
	$(MAKE) -j1 lint alloc cross schema sums

# The compiler gives way to the browser.
lint alloc cross schema sums: private SHELL := nice -n 10 $(SHELL)

# What lint compiles is what the tests run: with the race detector.
RACE = GOFLAGS="-race $(GOFLAGS)" CGO_ENABLED=1

lint:
	@out=$$(gofmt -l .); [ -z "$$out" ] || { echo "gofmt would change:"; echo "$$out"; exit 1; }
	$(GO) mod tidy -diff
	$(GO) -C .ci/tools build -o $(CURDIR)/bin/staticcheck honnef.co/go/tools/cmd/staticcheck
	$(RACE) bin/staticcheck ./...
	$(RACE) $(GO) vet ./...

# The race detector makes sync.Pool allocate.
alloc:
	$(GO) test -vet=off -run Alloc ./sacn/... ./patterns ./cmd/yardproof/internal/session

# Tests that work and never wait, but for their tools; what follows finds them done.
sums: tools
	CGO_ENABLED=1 $(GO) test -race -vet=off ./config/... ./patterns/... $(patsubst %,./cmd/yardproof/internal/%/..., film diagnose judge planview rehearsal/yard)

# The yard page in a real browser.
browser: tools
	! command -v npm >/dev/null || (cd cmd/yardproof/browsertest && npm ci --silent --no-audit --no-fund)
	$(GO) -C cmd/yardproof/browsertest vet ./...
	$(GO) -C cmd/yardproof/browsertest test -count=1 -vet=off -parallel 4 -timeout 20m ./...

# The plan's schema against the example plans, by a validator the program does not need.
schema:
	$(GO) -C config/schematest vet ./...
	$(GO) -C config/schematest test -vet=off ./...

# Proposals against every possibility, and for random plans, at full size: some minutes.
design:
	$(GO) test ./config/design -count=1 -timeout 2h -v -run 'Exhaustive|FewestPlugs|RandomPlans' -cases 500 -plans 500
	$(GO) test ./config/budget -count=1 -timeout 1h -v -run CapHolds -plans 500

# As root, two minutes of requests, reloads and kills: never more light than allowed.
storm: tools
	$(GO) test -race -vet=off -count=1 -timeout 20m -run 'TestStorm$$' -v ./cmd/yardproof -storm 2m

# As root, a quarter of an hour: the storm, a long flood, a hundred starts and stops, a hundred
# kills, every fault of the wire, a minute of SIGSTOP; 200 viewers, 64 MiB of memory.
hostile: storm
	$(GO) test -vet=off -count=1 -timeout 30m -run 'TestFlood$$|TestNothingLeaks$$|TestKilledWhileRecording$$|TestWireFaults$$|TestStopped$$|TestNumbersAtTheirEnds$$' -v ./cmd/yardproof \
		-flood 20s -starts 100 -kills 100 -faults -stopped 1m -ends
	$(GO) test -vet=off -timeout 30m -run '^$$' -bench 'BenchmarkViewers|BenchmarkSmallMemory' -benchtime 1x ./cmd/yardproof

# Every fuzz target in turn; the corpora in testdata/fuzz are part of make test.
FUZZTIME ?= 10m
fuzz:
	@for package in $$($(GO) list ./...); do \
		for target in $$($(GO) test -vet=off -list '^Fuzz' $$package | grep '^Fuzz'); do \
			echo "$$package $$target"; \
			$(GO) test -vet=off -run '^$$' -fuzz "^$$target\$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 100x $$package || exit 1; \
		done; \
	done
	$(GO) -C config/schematest test -vet=off -run '^$$' -fuzz FuzzSchema -fuzztime $(FUZZTIME) -fuzzminimizetime 100x .

# The pictures in the README.
screenshots: tools
	$(GO) -C cmd/yardproof/browsertest test -count=1 -run 'Screenshots|Film$$' . -screenshots $(CURDIR)/testdata/screenshots

# What other systems get is compiled by `make package`; types are checked here.
cross:
	$(GO) -C .ci/tools build -o $(CURDIR)/bin/crosscheck ./crosscheck
	bin/crosscheck windows/amd64 darwin/arm64 linux/arm

# The floor programs are small C programs that show what the machine can do at
# all; they live beside the repository.
FLOOR ?= ../shared/floor
FLOOR_DIR = $(abspath $(FLOOR))

# As root, about a quarter of an hour: figures for benchstat, then the table.
bench: tools build bench-tools
	$(GO) test -run '^$$' -bench . -skip 'BenchmarkFloor|BenchmarkSoak' -count 6 ./sacn/source
	$(GO) test -run '^$$' -bench BenchmarkFloor -benchtime 1x -timeout 60m ./sacn/source -floor $(FLOOR_DIR) -program $(CURDIR)/bin/yardproof
	$(MAKE) bench-listen

# As root, three minutes: what receiving costs, beside the floor.
bench-listen: tools bench-tools
	$(GO) test -run '^$$' -bench . -skip BenchmarkFloor -count 6 ./sacn/listener
	$(GO) test -run '^$$' -bench BenchmarkFloor -benchtime 1x -timeout 30m ./sacn/listener -floor $(FLOOR_DIR)

# Hours on two cores: what the whole command takes, then 13 films of each scene, of seeds
# that nothing was tuned on, then what breaks first, then films as phones and people make
# them, through the page. ffmpeg makes the films. FILMS=2 is a first look.
FILMS ?= 13
film-bench: tools
	nice -n 15 $(GO) test -run '^$$' -bench 'BenchmarkFilmCommand$$' -benchtime 1x -timeout 1h ./cmd/yardproof
	nice -n 15 $(GO) test -run '^$$' -bench 'BenchmarkFilm$$' -benchtime 1x -timeout 12h ./cmd/yardproof/internal/film -film-seed 130000 -films $(FILMS) -say
	nice -n 15 $(GO) test -run '^$$' -bench 'BenchmarkFilmBreaks$$' -benchtime 1x -timeout 12h ./cmd/yardproof/internal/film -film-seed 2000 -films 1
	nice -n 15 $(GO) -C cmd/yardproof/browsertest test -run '^$$' -bench 'BenchmarkOddFilms$$' -benchtime 1x -timeout 2h .

# As root, ten minutes at 1000 universes: every packet is accounted for; then the whole
# program at work for as long, memory, goroutines and descriptors held against the beginning.
SOAK ?= 10m
soak: tools bench-tools
	$(GO) test -run '^$$' -bench BenchmarkSoak -benchtime 1x -timeout 30m ./sacn/source -floor $(FLOOR_DIR)
	$(GO) test -run '^$$' -bench BenchmarkSoak -benchtime 1x -timeout 24h ./cmd/yardproof -soak $(SOAK)

bench-tools:
	@[ "$$(id -u)" = 0 ] || { echo "make bench makes network namespaces of its own: run it as root"; exit 1; }
	@[ -f $(FLOOR_DIR)/floor_send.c ] || { echo "the floor programs are not in $(FLOOR): make bench FLOOR=DIRECTORY says where they are"; exit 1; }

# An hour: how often the diagnosis is right, on yards with planted faults, for the weighed
# looks and for the fixed lists, and how often a bad joint is found from the ground.
YARDS ?= 60
judge:
	for adviser in odds lists; do \
		$(GO) test -timeout 3h -run '^$$' -bench Judge -benchtime 1x ./cmd/yardproof/internal/judge -judge $(YARDS) -adviser $$adviser || exit 1; \
	done
	$(GO) test -timeout 3h -v -run JointFound ./cmd/yardproof/internal/diagnose/scan -joints 400

VERSION ?= 0.1.0

package:
	deploy/package $(VERSION) bin/package

tools:
	@.ci/tools/install $(TOOLS)

# The race detector needs it; the other tools may still be on their way.
compiler:
	@.ci/tools/install gcc:gcc

.PHONY: build demo test browser untimed screenshots alloc sums design storm hostile fuzz schema bench bench-listen film-bench soak bench-tools lint cross package judge tools compiler
