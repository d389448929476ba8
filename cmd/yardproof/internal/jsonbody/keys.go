package jsonbody

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
)

// checkKeys refuses a key that is there twice, and one that differs from ours by its
// letters' case only: [json.Unmarshal] takes both, the last one winning, and two
// readers of one request could then understand two things by it (RFC 8259 clause 4).
// A text that is no JSON is left for the reader to refuse: after an error a decoder
// would offer the same token again, without end.
func checkKeys(text []byte) error {
	if !json.Valid(text) {
		return nil
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber() // whatever their size
	return checkValue(d, false)
}

// checkValue reads one value. The keys of a free object are a person's words.
func checkValue(d *json.Decoder, free bool) error {
	token, err := d.Token()
	if err != nil {
		return err
	}
	seen := map[string]bool{}
	for token == json.Delim('{') && d.More() {
		name, err := d.Token()
		if err != nil {
			return err
		}
		key := name.(string) // nothing else is a key
		switch {
		case seen[key]:
			return fmt.Errorf("%.40q is there twice", key)
		case !free && strings.Trim(key, "abcdefghijklmnopqrstuvwxyz_") != "":
			return fmt.Errorf("unknown field %.40q", key)
		}
		seen[key] = true
		if err := checkValue(d, key == "answered"); err != nil {
			return err
		}
	}
	for token == json.Delim('[') && d.More() {
		if err := checkValue(d, false); err != nil {
			return err
		}
	}
	if token == json.Delim('{') || token == json.Delim('[') {
		_, err = d.Token() // its end
	}
	return err
}
