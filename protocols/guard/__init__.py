"""What the stand cannot know, judged sample by sample; one file a check."""
