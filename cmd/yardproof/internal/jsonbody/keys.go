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
// A text that is no JSON is left for the reader to refuse.
func checkKeys(text []byte) error {
	return checkValue(json.NewDecoder(bytes.NewReader(text)), false)
}

// checkValue reads one value. The keys of a free object are a person's words.
func checkValue(d *json.Decoder, free bool) error {
	token, err := d.Token()
	if err != nil {
		return nil
	}
	seen := map[string]bool{}
	for token == json.Delim('{') && d.More() {
		name, err := d.Token()
		if err != nil {
			return nil
		}
		key, ok := name.(string)
		switch {
		case !ok:
			return nil
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
		d.Token() // its end
	}
	return nil
}
