module yardproof

go 1.26.0

require github.com/spf13/pflag v1.1.0

require (
	go.yaml.in/yaml/v3 v3.0.6
	golang.org/x/sys v0.50.0
)

require (
	github.com/prometheus/client_golang v1.25.0
	github.com/prometheus/client_model v0.6.3
	github.com/prometheus/procfs v0.22.0
	golang.org/x/net v0.62.0
	golang.org/x/term v0.48.0
	gonum.org/v1/gonum v0.17.0
	rsc.io/qr v0.2.0
)

require (
	github.com/beorn7/perks v1.0.1 // indirect
	github.com/cespare/xxhash/v2 v2.3.0 // indirect
	github.com/kylelemons/godebug v1.1.0 // indirect
	github.com/munnerz/goautoneg v0.0.0-20191010083416-a7dc8b61c822 // indirect
	github.com/prometheus/common v0.72.0 // indirect
	google.golang.org/protobuf v1.36.12 // indirect
)
