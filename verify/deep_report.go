package verify

// DeepReport is what a full decode of the working folder's photos came to.
type DeepReport struct {
	Photos    int          `json:"photos"`    // in the working folder, each content once
	Decoded   int          `json:"decoded"`   // decoded now, or found not to decode
	Known     int          `json:"known"`     // decoded by an earlier check
	Structure int          `json:"structure"` // HEIC, TIFF and raw: nothing but their structure is checked
	Faults    int          `json:"faults"`    // of Decoded and Known, those that do not decode
	Skipped   []NotDecoded `json:"skipped"`   // not decoded, and why
}

// NotDecoded is a photo that was not decoded.
type NotDecoded struct {
	Path   string `json:"path"`
	Reason string `json:"reason"`
}
