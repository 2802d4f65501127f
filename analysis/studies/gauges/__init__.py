"""Can what was measured be trusted?"""
