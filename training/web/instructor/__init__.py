"""The instructor's pages: today, the lesson sheet, signing, endorsing, and the tablet offline."""
