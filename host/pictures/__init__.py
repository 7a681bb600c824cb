"""Pictures that page and certificate share: the agreement strip and the result chart."""
