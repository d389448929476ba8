// Package schematest holds the plan's JSON Schema against plans, by a validator
// that the program itself does not need: it is a module of its own.
package schematest
