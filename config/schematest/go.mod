module yardproof/config/schematest

go 1.26.0

require (
	github.com/santhosh-tekuri/jsonschema/v6 v6.0.2
	go.yaml.in/yaml/v3 v3.0.6
	yardproof v0.0.0
)

require golang.org/x/text v0.14.0 // indirect

replace yardproof => ../..
