"""Operations, packages and cautions."""
