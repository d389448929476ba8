module yardproof

go 1.26.0

require github.com/spf13/pflag v1.1.0

require (
	go.yaml.in/yaml/v3 v3.0.6
	golang.org/x/sys v0.50.0
)

require golang.org/x/net v0.62.0
