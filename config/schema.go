package config

import (
	"encoding/json"
	"regexp"
	"slices"
	"strings"
)

// schema is a JSON Schema, as far as a plan needs one.
type schema struct {
	Draft       string             `json:"$schema,omitempty"`
	Title       string             `json:"title,omitempty"`
	Description string             `json:"description,omitempty"`
	Type        any                `json:"type,omitempty"` // a name or several
	AnyOf       []*schema          `json:"anyOf,omitempty"`
	Enum        []string           `json:"enum,omitempty"`
	Default     string             `json:"default,omitempty"`
	Minimum     *float64           `json:"minimum,omitempty"`
	Above       *float64           `json:"exclusiveMinimum,omitempty"`
	Maximum     *float64           `json:"maximum,omitempty"`
	Pattern     string             `json:"pattern,omitempty"`
	Items       *schema            `json:"items,omitempty"`
	Properties  map[string]*schema `json:"properties,omitempty"`
	Own         map[string]bool    `json:"patternProperties,omitempty"`
	Others      *bool              `json:"additionalProperties,omitempty"`
	Required    []string           `json:"required,omitempty"`
}

// Schema returns the JSON Schema of a plan, for editors: its keys, what they mean
// and what may stand there. It is of draft-07, which editors of YAML know best. What
// it refuses [Load] refuses too; Load sees more, such as what overlaps.
func Schema() []byte {
	s := sectionSchema(Keys())
	s.Draft, s.Title = "http://json-schema.org/draft-07/schema#", "A yardproof plan"
	s.Own = map[string]bool{"^x-": true}
	text, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		panic(err) // strings and numbers always marshal
	}
	return append(text, '\n')
}

func sectionSchema(keys []*Key) *schema {
	s := &schema{Type: "object", Properties: map[string]*schema{}, Others: new(bool)}
	for _, k := range keys {
		s.Properties[k.Name] = k.schema()
		if k.Required {
			s.Required = append(s.Required, k.Name)
		}
	}
	return s
}

// anyScalar is what text may be written as: a port 3 is as good as a port "3".
var anyScalar = []string{"string", "number", "boolean"}

func (k *Key) schema() *schema {
	var s *schema
	switch k.Kind {
	case KeySection:
		s = sectionSchema(k.Keys)
	case KeyList:
		s = &schema{Type: []string{"array", "null"}, Items: sectionSchema(k.Keys)}
	case KeyWhole, KeyNumber, KeyShare:
		s = k.numberSchema()
	case KeyWord:
		s = &schema{Enum: slices.DeleteFunc(slices.Clone(k.Words), func(w string) bool { return w == "" })}
	case KeyFlag:
		s = &schema{AnyOf: []*schema{{Type: "boolean"}, {Enum: []string{"true", "false"}}}}
	default:
		s = &schema{Type: anyScalar, Pattern: k.Pattern}
		if !regexp.MustCompile(k.Pattern).MatchString("1") { // a pattern binds strings alone
			s.Type = "string"
		}
	}
	if k.Kind == KeyText && len(k.Keys) > 0 {
		s = &schema{AnyOf: []*schema{s, sectionSchema(k.Keys)}}
	}
	if k.OrList {
		s = &schema{AnyOf: []*schema{s, {Type: "array", Items: s}}}
	}
	s.Description, s.Default = k.Does, k.Default
	return s
}

// numberSchema is a bare number in its range, or a number with its unit.
func (k *Key) numberSchema() *schema {
	n := &schema{Type: "number", Minimum: &k.Lo, Maximum: &k.Hi}
	if k.Kind == KeyWhole {
		n.Type = "integer"
	}
	if k.Above {
		n.Minimum, n.Above = nil, &k.Lo
	}
	signs := []string{}
	for _, s := range k.signs {
		signs = append(signs, letters(s.text))
	}
	if k.Kind == KeyShare {
		signs = append(signs, "%")
	}
	return &schema{AnyOf: []*schema{n, {Type: "string", Pattern: `^[-+]?[0-9.]+([eE][-+]?[0-9]+)?\s*(` + strings.Join(signs, "|") + `)?$`}}}
}

// letters matches a unit in capitals or not.
func letters(sign string) string {
	var b strings.Builder
	for _, r := range sign {
		if lower, upper := strings.ToLower(string(r)), strings.ToUpper(string(r)); lower != upper {
			b.WriteString("[" + lower + upper + "]")
		} else {
			b.WriteString(regexp.QuoteMeta(string(r)))
		}
	}
	return b.String()
}
