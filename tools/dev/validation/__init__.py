"""What the physics was checked against: `page` writes sim/VALIDATION.md.

`figures` holds what is published beside what is ours, `years` what is taken from years of weather,
and `section` what the ground in cross-section is held against: `climates`, and `bare_strip` and
`confusion`, which live on ground that `daily` waters. `ponding` draws the page's picture.
"""
