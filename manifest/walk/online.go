package walk

// The attributes of Windows that say that a file's bytes are not on this computer, and
// are fetched when somebody reads it (Windows' "File Attribute Constants").
const (
	attributeOffline            = 0x00001000
	attributeRecallOnOpen       = 0x00040000
	attributeRecallOnDataAccess = 0x00400000
)

// onlineOnly reports whether reading a file with these attributes would download it.
func onlineOnly(attributes uint32) bool {
	return attributes&(attributeOffline|attributeRecallOnOpen|attributeRecallOnDataAccess) != 0
}

const reasonOnline = "the bytes are not on this computer, only online, and reading would download them; to have them kept, have them stored here first (in Windows: \"Always keep on this device\")"
