package desk

// Message is message, for tests that import the words.
var Message = message
