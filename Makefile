# make demo    runs the transmitter on the built-in plan, loopback only
# make test    every check there is; as root it first installs what it needs
# make bench   figures beside the floor of this machine
# make package what people install

GO ?= go

# What the tests need beyond Go: PROGRAM:DEBIAN-PACKAGE.
TOOLS = curl:curl ip:iproute2 nft:nftables tshark:tshark tc:iproute2 gcc:gcc ngspice:ngspice zbarimg:zbar-tools

build:
	$(GO) build -o bin/yardproof ./cmd/yardproof

demo: build
	bin/yardproof run --demo

test: tools lint
	$(GO) test -race ./...
	$(GO) test -run Alloc ./... # the race detector makes sync.Pool allocate
	$(MAKE) cross

lint:
	@out=$$(gofmt -l .); [ -z "$$out" ] || { echo "gofmt would change:"; echo "$$out"; exit 1; }
	$(GO) mod tidy -diff
	$(GO) vet ./...
	$(GO) -C .ci/tools build -o $(CURDIR)/bin/staticcheck honnef.co/go/tools/cmd/staticcheck
	bin/staticcheck ./...

cross:
	for os in windows darwin; do GOOS=$$os $(GO) vet ./... || exit 1; done
	GOARCH=arm GOOS=linux $(GO) vet ./...

tools:
	@.ci/tools/install $(TOOLS)

.PHONY: build demo test lint cross tools
