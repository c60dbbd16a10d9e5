"""The preview page: one HTML file that shows both parts before bone is cut.

``scene.page_data`` gathers what it shows, ``page.page`` writes it. The script and the style stand
in files of their own and are put into the page with their hashes in its content security policy.
"""
