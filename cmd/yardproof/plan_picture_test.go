package main

import (
	"bytes"
	"context"
	"encoding/xml"
	"io"
	"path/filepath"
	"strings"
	"testing"

	"yardproof/patterns"
)

func TestPlanPicture(t *testing.T) {
	plan := filepath.Join("..", "..", "config", "demo.yaml")
	for _, p := range patterns.All() {
		var out, errs bytes.Buffer
		if code := run(context.Background(), stdio{&out, &errs}, []string{"plan", "--picture", p.Name, "--string", "quay-rail-west", plan}); code != exitFine {
			t.Fatalf("%s: exit %d: %s", p.Name, code, errs.String())
		}
		circles := 0
		for d := xml.NewDecoder(&out); ; {
			token, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", p.Name, err)
			}
			if e, ok := token.(xml.StartElement); ok && e.Name.Local == "circle" {
				circles++
			}
		}
		if circles == 0 || circles%120 != 0 {
			t.Errorf("%s: %d circles for 120 pixels", p.Name, circles)
		}
	}
	for args, want := range map[string]string{
		"--picture snow --string gable-left " + plan: "there are dark, number,",
		"--picture ends --string gable " + plan:      "no string",
		"--picture ends " + plan:                     "need --string NAME",
	} {
		var out, errs bytes.Buffer
		if code := run(context.Background(), stdio{&out, &errs}, append([]string{"plan"}, strings.Fields(args)...)); code != exitUsage || !strings.Contains(errs.String(), want) {
			t.Errorf("%s: exit %d: %s", args, code, errs.String())
		}
	}
}
